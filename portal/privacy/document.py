"""The register as a table for whoever runs the portal; PRIVACY.md is written by it and held to it by a test."""

from __future__ import annotations

from django.utils import translation

from portal.privacy.register import KEPT

HEAD = "| what | why | how long | when the person is erased | where |\n|---|---|---|---|---|\n"


def kept_table() -> str:
    """One row for each kind, in English, with the fields it stands in."""
    with translation.override("en-gb"):
        rows = [
            [str(each.what), str(each.why), str(each.how_long), str(each.at_erasure), _where(each.fields)]
            for each in KEPT
        ]
    return HEAD + "".join(f"| {' | '.join(row)} |\n" for row in rows)


def _where(fields: set[str]) -> str:
    return ", ".join(f"`{each}`" for each in sorted(fields)) or "—"
