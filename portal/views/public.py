"""Pages for everybody: nothing unapproved, no hazards, no names of people."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from alerts.charts import NARROW, draw_site, site_points
from alerts.queries import trigger_in_force
from portal.accounts.models import Group
from portal.accounts.queries import public_groups
from portal.queries import approved_visits, latest_approved
from portal.reports.queries import published_of
from scoring.indices import METHODS
from surveys.recording_lists import first_index
from surveys.score_columns import columns_of
from surveys.told import told

TABLE_ROWS = 36


def _public_group(slug: str) -> Group:
    return get_object_or_404(public_groups(), slug=slug)


@require_safe
def public_group(request: HttpRequest, slug: str) -> HttpResponse:
    """A group that publishes: what it does, its sites with their latest approved scores, its reports."""
    group = _public_group(slug)
    page = latest_approved(group, request.GET.get("page", ""))
    context = {
        "group": group,
        "page": page,
        "columns": columns_of([row.visit for row in page if row.visit]),
        "reports": published_of(group),
    }
    return render(request, "portal/public_group.html", context)


@require_safe
def public_site(request: HttpRequest, slug: str, site_id: UUID) -> HttpResponse:
    """One site's approved results."""
    group = _public_group(slug)
    site = get_object_or_404(group.sites, id=site_id)
    visits = list(approved_visits(site)[:TABLE_ROWS])
    trigger = trigger_in_force(site, timezone.localdate())
    index = trigger.index if trigger else first_index(site.recording_list)
    points, lines = site_points(site, index, approved_only=True)
    context = {
        "group": group,
        "site": site,
        "index_name": told(METHODS[index].name),
        "chart": draw_site(site, index, points, lines),
        "narrow_chart": draw_site(site, index, points, lines, size=NARROW),
        "visits": visits,
        "columns": columns_of([visit for visit in visits if visit.was_made]),
    }
    return render(request, "portal/public_site.html", context)
