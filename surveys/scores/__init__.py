"""From counts to scores: judged, worked out, kept, worked out again, and told."""
