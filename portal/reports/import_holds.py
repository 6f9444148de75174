"""Loaded visits that published reports stand on."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, QuerySet

from portal.reports.queries import published_reports
from surveys.importing.holds import ngettext_of, say_visits
from surveys.models import ImportRun, Visit


def visits_of_reports(run: ImportRun, visits: QuerySet[Visit]) -> list[str]:
    """A report published after the loading has counted the visits of its year."""
    since = published_reports().filter(group=run.group_id, published_at__gte=run.loaded_at)
    counted = Exists(since.filter(year=OuterRef("visited_on__year")))
    words = ngettext_of(
        "%(number)d visit is counted in a published report",
        "%(number)d visits are counted in a published report",
    )
    return say_visits(visits.filter(counted), words)
