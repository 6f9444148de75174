"""What the public pages of the scoring methods show: groups, tables with the status of each row, examples."""
