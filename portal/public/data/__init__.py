"""Open data of a group that publishes: files made ahead by a job, on the terms that the group chose."""
