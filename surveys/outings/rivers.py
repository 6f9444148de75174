"""Whether the river is above a site's limit: the one place that says so.

While it is, nobody is asked to go there: lists of sites to visit say "stay away" in place of "due".
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Case, F, OuterRef, Q, Subquery, When
from django.utils import timezone

from portal.accounts.prepared import planned
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import RiverReport, Site

# Strictly above: a reading at the limit is not over it.
IS_ABOVE = Q(too_high=True) | Q(level_m__gt=F("site__level_limit_m"))


@dataclass(frozen=True)
class RiverState:
    """The newest report of a site's river, and until when the river counts as too high (None: it does not)."""

    report: RiverReport | None
    high_until: datetime | None


def with_high_until(rows: Any, now: datetime, site: str = "pk") -> Any:
    """The rows with `high_until`: until when the river is too high at the site, or None where it is not.

    `rows` is a queryset of sites, or of what has a site at the path `site`.
    """
    reports = RiverReport.objects.filter(site=OuterRef(site), reported_at__lte=now).order_by("-reported_at")
    # Only the newest report counts, whatever an older one has said of the days to come.
    above = Case(When(IS_ABOVE & Q(holds_until__gt=now), then=F("holds_until")), default=None)
    newest = reports.annotate(above_until=above).values("above_until")[:1]
    return rows.annotate(high_until=Subquery(newest))


def river_at(site: Site) -> RiverState:
    """What is known of the river at one site now (one query)."""
    moment = timezone.now()
    report = next(iter(_newest(site.pk, moment)), None)
    holds = report is not None and report.is_above and report.holds_until > moment
    return RiverState(report, report.holds_until if report and holds else None)


@planned
def _newest(site: UUID, moment: datetime) -> GroupOwnedQuerySet[RiverReport]:
    reports = RiverReport.objects.across_groups("of a site that was found in its group")
    told = reports.filter(site=site, reported_at__lte=moment).select_related("site", "reported_by")
    return told.order_by("-reported_at")[:1]
