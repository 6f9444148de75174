"""Drawings of a site with its triggers; each is made once."""
