"""Django's PostgreSQL with the second wall: each query runs in the scope of `portal.accounts.walls`."""
