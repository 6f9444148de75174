"""Recording lists: what a group counts, and which indices that supports."""
