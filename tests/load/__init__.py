"""Sunday evening: many people at once on the portal as deployed, played by Locust (`make load`)."""
