"""A group with something of everything, and its archive."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from surveys.exporting.models import Licence, PublishingTerms
from surveys.models import Visit
from surveys.services.review import approve_visit
from tests.conftest import Cast
from tests.exporting.files import exported
from tests.factories import days_ago, submit

COUNTS = [
    {"taxon": "Baetis rhodani", "count": "1200"},
    {"taxon": "Elmidae", "range": "10-99"},
    {"taxon": "Asellidae", "count": "0"},
    {"taxon": "Gammaridae", "range": "1000+"},
    {"taxon": "Simuliidae", "present": True},
    {"taxon": "Snails (gilled)", "count": "3"},
    {"taxon": "Perlidae", "count": "1", "whole_tray": True},
]


def approved(cast: Cast, **changes: Any) -> Visit:
    """A visit that was sent in and approved."""
    usual: dict[str, Any] = {
        "visited_on": days_ago(30).isoformat(),
        "counts": COUNTS,
        "fraction_sorted": "1/4",
        "measurements": {"temperature": {"value": "11.4"}, "phosphate": {"value": "<0.05", "unit": "mg/L PO4"}},
        "notes": "Ask Fen Farmer at the gate",
    }
    visit = submit(cast.person("volunteer"), cast.site, **usual | changes)
    return (
        approve_visit(person=cast.person("coordinator"), visit=visit, accept_findings_reason="Looked at.")
        or visit
    )


def with_terms(cast: Cast, **terms: Any) -> PublishingTerms:
    """The group gives its records under CC BY."""
    terms = {"licence": Licence.CC_BY, "contact_email": "records@example.org", **terms}
    return PublishingTerms.objects.create(group=cast.group, **terms)


def archive_bytes(cast: Cast, choice: str = "") -> bytes:
    """The zip as a coordinator gets it."""
    return exported(cast, "darwin_core", choice=choice)


def archive_file(cast: Cast, folder: Path) -> str:
    """The same as a file with a name."""
    place = folder / "archive.zip"
    place.write_bytes(archive_bytes(cast))
    return str(place)


def as_file(content: bytes) -> io.BytesIO:
    """Bytes as an open file."""
    return io.BytesIO(content)
