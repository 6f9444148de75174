"""Which visits are due over a span of days, by each site's interval, season, permission and river."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from portal.accounts.models import Group
from surveys.models import Site
from surveys.queries import DUE_WINDOW, DueSite, sites_due


@dataclass(frozen=True)
class DueVisit:
    """One visit to plan: the day it is due, and the days on which it can be."""

    site: Site
    due_on: date
    days: tuple[date, ...]


@dataclass(frozen=True)
class Due:
    """All visits to plan, and sentences about what cannot be planned at all."""

    visits: list[DueVisit] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)


def window_of(site: Site) -> timedelta:
    """How far from its day a visit may be: a week, less where the interval is so short that two would meet."""
    return min(DUE_WINDOW, timedelta(days=(site.visit_interval_days - 1) // 2))


def visits_due(group: Group, first_day: date, last_day: date, planned: Iterable[tuple[Site, date]]) -> Due:
    """The visits due from first to last day beside those planned already (`planned`: site and day)."""
    known: dict[object, list[date]] = defaultdict(list)
    for site, day in planned:
        known[site.pk].append(day)
    found = Due()
    for due in sites_due(group, timezone.localdate()):
        _plan_site(found, due, first_day, last_day, sorted(known[due.site.pk]))
    # By day, so that whoever reads the draft reads it as it will happen.
    found.visits.sort(key=lambda each: (each.due_on, each.site.code))
    return found


def _plan_site(found: Due, due: DueSite, first_day: date, last_day: date, planned: Sequence[date]) -> None:
    for day in due_days(due, first_day, last_day, planned):
        days = _possible_days(due, day, first_day, last_day, planned)
        if days:
            found.visits.append(DueVisit(due.site, day, tuple(days)))
        else:
            found.left_out.append(_why_left_out(due, day, last_day))


def due_days(due: DueSite, first_day: date, last_day: date, planned: Sequence[date]) -> Iterator[date]:
    """The days due of one site; a visit planned already counts as made on its day.

    What was due before the span is due on its first day. A visit planned near a day due answers it.
    """
    interval = timedelta(days=due.site.visit_interval_days)
    # Nearer to this day than to the one before or after it.
    near = interval / 2
    cursor = max(due.due_on or first_day, first_day)
    waiting = list(planned)
    while cursor <= last_day:
        answered = next((each for each in waiting if abs(each - cursor) <= near), None)
        if answered is None:
            yield cursor
        else:
            waiting.remove(answered)
        cursor = (answered or cursor) + interval


def _possible_days(
    due: DueSite, day: date, first_day: date, last_day: date, planned: Sequence[date]
) -> list[date]:
    window = window_of(due.site)
    begin, end = max(first_day, day - window), min(last_day, day + window)
    span = [begin + timedelta(days=n) for n in range((end - begin).days + 1)]
    return [each for each in span if each not in planned and not obstacle_at(due, each)]


def obstacle_at(due: DueSite, day: date) -> str:
    """Why a site is not visited on a day; empty where nothing speaks against it."""
    # The river may be high for the rest of the last day that it counts as high.
    if due.high_until and day <= timezone.localdate(due.high_until):
        return _("the river is above the site's limit")
    return site_obstacle(due.site, day)


def site_obstacle(site: Site, day: date) -> str:
    """What speaks against a day by the site's own dates: opening, closing, permission, season."""
    if site.opened_on and day < site.opened_on:
        return _("it opens on %(day)s") % {"day": date_format(site.opened_on, "j F Y")}
    if site.closed_on and day >= site.closed_on:
        return _("it closes on %(day)s") % {"day": date_format(site.closed_on, "j F Y")}
    if site.permission_from and day < site.permission_from:
        return _("the landowner's permission begins on %(day)s") % {
            "day": date_format(site.permission_from, "j F Y")
        }
    if site.permission_lapsed(day):
        assert site.permission_until is not None
        return _("the landowner's permission ends on %(day)s") % {
            "day": date_format(site.permission_until, "j F Y")
        }
    if not site.in_season(day):
        return _("it is out of its season")
    return ""


def _why_left_out(due: DueSite, day: date, last_day: date) -> str:
    window = window_of(due.site)
    reason = obstacle_at(due, min(day, last_day)) or obstacle_at(due, min(day + window, last_day))
    facts = {"site": due.site, "day": date_format(day, "j F"), "why": reason or _("no day is left")}
    return _("%(site)s, due %(day)s, is not planned: %(why)s.") % facts
