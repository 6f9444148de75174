"""What surrounds a visit: rules of going out, kits, high rivers, safe returns."""
