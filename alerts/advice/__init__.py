"""What a trigger would mean at a site, and the words for it."""
