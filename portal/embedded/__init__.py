"""Launchers of the private PostgreSQL and Valkey that stand in when no server is named. No Django here."""
