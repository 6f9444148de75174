"""Keys by which a person's own programs speak to the portal, each limited to what it is for."""
