"""A later release, as far as a rolling upgrade can tell: the same code with migrations of its own."""
