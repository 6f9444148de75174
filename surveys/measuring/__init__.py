"""The quantities that are measured at the water."""
