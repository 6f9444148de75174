"""Where a site is: coordinates and grid references."""
