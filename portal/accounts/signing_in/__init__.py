"""Signing in: second factors, passwords, sessions, addresses, and the limits on trying."""
