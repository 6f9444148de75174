"""Pages about people."""
