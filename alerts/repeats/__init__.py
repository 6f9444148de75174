"""Repeat visits: what is wanted, what one would tell, the links they are taken on by."""
