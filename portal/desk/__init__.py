"""What stands on the desk of a group, read in few queries however much waits."""
