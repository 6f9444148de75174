"""A visit as it was saved: read with its parts, laid out, its effort and position judged."""
