"""What everybody may read of a group that publishes, and what groups of one catchment show each other."""
