"""The picture in an alert: the site's history, drawn when the mail is sent."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any
from uuid import UUID

from alerts.charts import site_chart
from alerts.models import Verdict
from portal.charts import to_png
from surveys.models import Site, Visit

SITE_HISTORY = "site_history"
# Drawn at twice the size it is shown in, for the screens of telephones.
SHOWN, PIXELS = (520, 300), 1040
MARGIN = timedelta(days=3)


def history_arguments(visit: Visit, verdict: Verdict) -> dict[str, Any]:
    """What the outbox stores beside the message for `draw_history_picture`."""
    index = verdict.trigger.index if verdict.trigger else ""
    return {"site_id": str(visit.site_id), "index": index, "day": visit.visited_on.isoformat()}


def draw_history_picture(site_id: str, index: str, day: str) -> bytes:
    """PNG of the site's scores and trigger with the days around `day` (ISO date) shaded."""
    sites = Site.objects.across_groups("the message names the site").select_related("group")
    around = date.fromisoformat(day)
    svg = site_chart(
        sites.get(pk=UUID(site_id)), index, emphasis=(around - MARGIN, around + MARGIN), size=SHOWN
    )
    return to_png(svg, width=PIXELS)
