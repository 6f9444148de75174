"""Changing what is kept of people."""
