"""Long work: ordered on a page, done by a worker, looked after, stopped, never half done."""
