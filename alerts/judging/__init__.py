"""Holding visits against triggers: the verdict, the record it rests on, the figures as printed."""
