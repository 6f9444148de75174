"""What a yearly report stands on, gathered once as plain JSON data and frozen with the report.

Only approved visits count; how many still wait is said. No free text that was written for the group's own eyes
(notes, hazards, reasons, what an agency wrote) gets in, so nothing private can slip into a published report.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import connection, transaction
from django.urls import reverse
from django.utils import timezone, translation

from portal.accounts.models import Group
from portal.reports.figures.effort import describe_effort
from portal.reports.figures.incidents import describe_incidents
from portal.reports.figures.methods import describe_methods
from portal.reports.figures.quality import describe_quality
from portal.reports.figures.records import YearRecords, load_records
from portal.reports.figures.sentences import summarise, summary_parts
from portal.reports.figures.sites import describe_sites
from portal.reports.figures.totals import add_up
from surveys.exporting.models import PublishingTerms

VERSION = 5


def gather_figures(group: Group, year: int, *, now: datetime | None = None) -> dict[str, Any]:
    """The figures of one group's year as JSON data; `now` is the cut-off written into the report."""
    # By the clock on the wall: its day is printed, and ends the year.
    cut_off = timezone.localtime(now)
    with transaction.atomic():
        _see_one_moment()
        records = load_records(group, year, cut_off)
        return describe_year(records)


def describe_year(records: YearRecords) -> dict[str, Any]:
    """Turn a year's records into figures: no query is made here."""
    sites = describe_sites(records)
    figures: dict[str, Any] = {
        "version": VERSION,
        "language": translation.get_language() or "en",
        "group": _describe_group(records.group),
        "year": records.year,
        "cut_off": records.cut_off.isoformat(),
        "sites": sites,
        "totals": add_up(sites),
        "effort": describe_effort(records),
        "incidents": describe_incidents(records),
        "quality": describe_quality(records),
        "methods": describe_methods(records),
        "terms": describe_terms(records.terms),
    }
    return figures | {"summary": summarise(figures), "summary_parts": summary_parts(figures)}


def _describe_group(group: Group) -> dict[str, str]:
    return {
        "name": group.name,
        "slug": group.slug,
        "about": group.about,
        "address": _address("public_group", group),
        "join_address": _address("enquiry_ask", group),
    }


def _address(name: str, group: Group) -> str:
    """Where everybody finds the group's page; none while it shows itself to nobody."""
    return settings.BASE_URL + reverse(name, args=[group.slug]) if group.is_public else ""


def describe_terms(terms: PublishingTerms) -> dict[str, str]:
    """On what terms the figures may be used, as the group has chosen; without a choice nothing is granted."""
    return {
        "licence": terms.get_licence_display() if terms.licence else "",
        "licence_address": terms.licence_address,
        "attribution": terms.attribution or terms.group.name,
        "contact_email": terms.contact_email,
        "blur": terms.blur,
    }


def _see_one_moment() -> None:
    """Let all queries see the same moment, so that no approval in between makes two figures disagree.

    PostgreSQL takes this only before a transaction's first query: inside somebody else's it stays as it is.
    """
    if len(connection.savepoint_ids) == 0:
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
