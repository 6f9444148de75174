"""The low visits of an incident with all that pages and papers show of them, read together."""

from __future__ import annotations

from alerts.chain.facts import SEALED_PARTS
from alerts.models import Incident
from surveys.models import Visit
from surveys.visits.parts import laid_out, with_parts

PARTS = (*SEALED_PARTS, "findings", "scores", "photos")


def low_visits(incident: Incident) -> list[Visit]:
    """The incident's low visits, newest first, with all that evidence and chain need (one query)."""
    found = incident.visits.select_related("verdict__trigger", "recorder", "site__downstream", "group")
    return laid_out(with_parts(found.order_by("-visited_on", "-submitted_at"), *PARTS))
