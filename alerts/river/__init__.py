"""The river about a low visit: who stands where, and in which stretch the cause lies."""
