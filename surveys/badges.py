"""Badges, drawn once for each word: a table of visits has two in every row."""

from __future__ import annotations

from functools import lru_cache

from django.template.loader import render_to_string
from django.utils.safestring import SafeString


@lru_cache(maxsize=2_000, typed=True)
def badge(kind: str, icon: str, word: str) -> SafeString:
    """A badge of one of the kinds of the style guide; `word` is said in the reader's language already."""
    return render_to_string("components/badge.html", {"kind": kind, "icon_name": icon, "word": word})
