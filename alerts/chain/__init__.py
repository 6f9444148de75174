"""The steps of an incident, each sealed onto the one before: made, checked and read."""
