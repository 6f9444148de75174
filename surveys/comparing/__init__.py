"""What was found beside what was found elsewhere or at another time, and whether a site changed."""
