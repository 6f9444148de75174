"""Loaded visits that alerts stand on."""

from __future__ import annotations

from django.db.models import QuerySet

from surveys.importing.holds import ngettext_of, say_visits
from surveys.models import ImportRun, Visit


def visits_of_incidents(_run: ImportRun, visits: QuerySet[Visit]) -> list[str]:
    """An incident's evidence stays as it was when the agency was told."""
    words = ngettext_of("%(number)d visit belongs to an incident", "%(number)d visits belong to an incident")
    return say_visits(visits.filter(incidents__isnull=False).distinct(), words)
