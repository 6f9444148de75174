"""How much tests try that could try more: a part in the suite that everybody runs, all in the long one."""

from __future__ import annotations

import os

# Whether all is tried: `make test-all` says so.
ALL = os.environ.get("CHANCE") == "all"
PART = 6
FEWEST = 6


def tries(most: int) -> int:
    """How many examples, of the `most` that the long suite tries."""
    return most if ALL else min(most, max(most // PART, FEWEST))
