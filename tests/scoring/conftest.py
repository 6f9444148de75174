"""Property tests without a stopwatch: two shared cores would make slow examples fail at random."""

from hypothesis import settings

settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")
