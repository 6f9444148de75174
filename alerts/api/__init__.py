"""Verdicts, triggers and incidents, for programs."""
