"""The picture in an alert: the site's history and below it the river, drawn when the mail is sent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date
from typing import Any
from uuid import UUID

from django.conf import settings
from django.utils.translation import get_language, override

from alerts.charts.drawn_once import drawn_once, pictured_once
from alerts.charts.of_site import site_chart
from alerts.evidence.of_visit import Evidence
from portal.charts import Drawing, RiverPlace, draw_river, stacked
from surveys.models import Site

# The first alone is what messages owed by earlier versions name.
SITE_HISTORY, INCIDENT = "site_history", "incident"
# Drawn small and enlarged, so that its words can still be read on a telephone.
SHOWN, PIXELS = (400, 280), 800


def history_arguments(evidence: Evidence) -> dict[str, Any]:
    """What is stored for `draw_history_picture`."""
    first, last = evidence.window
    return {
        "site_id": str(evidence.site.pk),
        "index": evidence.method.key,
        "first": first.isoformat(),
        "last": last.isoformat(),
    }


def picture_arguments(evidence: Evidence) -> dict[str, Any]:
    """What the outbox stores beside the message for `draw_incident_picture`.

    The river stands in it as it was: the words of the message tell the same.
    """
    places = [asdict(each) | {"when": each.when and each.when.isoformat()} for each in evidence.river.places]
    language = get_language() or settings.LANGUAGE_CODE
    return {
        "history": history_arguments(evidence),
        "title": evidence.river.title,
        "places": places,
        "language": language,
    }


def draw_incident_picture(
    history: Mapping[str, str],
    title: str,
    places: Sequence[Mapping[str, Any]],
    language: str = settings.LANGUAGE_CODE,
) -> bytes:
    """PNG of the site's history and, below it, of the river with the stretch in question.

    `language` is that of the message; those owed by earlier versions name none.
    """
    known = [
        RiverPlace(**{**each, "when": date.fromisoformat(each["when"]) if each["when"] else None})
        for each in places
    ]
    with override(language):
        river = drawn_once(draw_river, known, title=title, width=SHOWN[0], lang=language)
        return pictured_once(stacked(_history(**history), river), width=PIXELS)


def draw_history_picture(site_id: str, index: str, first: str, last: str) -> bytes:
    """PNG of the site's scores and triggers with the days from `first` to `last` (ISO dates) shaded."""
    return pictured_once(_history(site_id, index, first, last), width=PIXELS)


def _history(site_id: str, index: str, first: str, last: str) -> Drawing:
    sites = Site.objects.across_groups("the message names the site").select_related("group")
    window = (date.fromisoformat(first), date.fromisoformat(last))
    return Drawing(site_chart(sites.get(pk=UUID(site_id)), index, emphasis=window, size=SHOWN))
