"""The picture in an alert: the site's history, drawn when the mail is sent."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

from alerts.charts import site_chart
from alerts.evidence import Evidence
from portal.charts import to_png
from surveys.models import Site

SITE_HISTORY = "site_history"
# Drawn small and enlarged, so that its words can still be read on a telephone.
SHOWN, PIXELS = (400, 280), 1040


def history_arguments(evidence: Evidence) -> dict[str, Any]:
    """What the outbox stores beside the message for `draw_history_picture`."""
    first, last = evidence.window
    return {
        "site_id": str(evidence.site.pk),
        "index": evidence.method.key,
        "first": first.isoformat(),
        "last": last.isoformat(),
    }


def draw_history_picture(site_id: str, index: str, first: str, last: str) -> bytes:
    """PNG of the site's scores and triggers with the days from `first` to `last` (ISO dates) shaded."""
    sites = Site.objects.across_groups("the message names the site").select_related("group")
    window = (date.fromisoformat(first), date.fromisoformat(last))
    svg = site_chart(sites.get(pk=UUID(site_id)), index, emphasis=window, size=SHOWN)
    return to_png(svg, width=PIXELS)
