"""What one test has tried counts for no other."""

from __future__ import annotations

import pytest
from django.core.cache import cache


@pytest.fixture(autouse=True)
def _nothing_tried_yet() -> None:
    cache.clear()
