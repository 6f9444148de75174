"""What a phone keeps for when there is no network."""
