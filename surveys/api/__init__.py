"""Version 1 of the programming interface: the same queries, services and rules as the pages."""
