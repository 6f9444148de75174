"""What is kept of people, why and how long; fetching it, and having it erased."""
