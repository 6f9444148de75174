"""Where files of jobs go in tests."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.conf import LazySettings


@pytest.fixture
def media(settings: LazySettings, tmp_path: Path) -> None:
    """Files of this test alone."""
    settings.MEDIA_ROOT = tmp_path
