"""Hours given: of visits by their start and end, of other work as people entered them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from django.db.models import Q, Sum

from portal.accounts.models import Group, Membership
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Visit
from surveys.people.models import OtherHours

LONGEST_VISIT = 12.0


@dataclass(frozen=True)
class Hours:
    """A group's year. `planned_visits` have no times and count as long as their site says a visit takes."""

    year: int
    visits: int = 0
    planned_visits: int = 0
    people: int = 0
    visit_hours: float = 0.0
    other: dict[str, float] = field(default_factory=dict)

    @property
    def other_hours(self) -> float:
        return sum(self.other.values())

    @property
    def total(self) -> float:
        return self.visit_hours + self.other_hours


def hours_given(group: Group, year: int) -> Hours:
    """What the people of the group gave in a year: visits made, and other work as entered. Two queries."""
    visits = list(_visits_of(group, year))
    pairs = [_pair(each) for each in visits]
    timed = [_duration(each) for each in visits]
    lengths = [_planned(visit) if each is None else each for visit, each in zip(visits, timed, strict=True)]
    other, workers = _other_work(group, year)
    went = {each for pair in pairs for each in pair}
    return Hours(
        year=year,
        visits=len(visits),
        planned_visits=sum(each is None for each in timed),
        people=len(went | workers),
        visit_hours=sum(len(pair) * length for pair, length in zip(pairs, lengths, strict=True)),
        other=other,
    )


def hours_of(membership: Membership, year: int) -> Hours:
    """The same for one member alone."""
    went = Q(recorder=membership.user_id) | Q(partner=membership.user_id)
    own = list(_visits_of(membership.group, year).filter(went))
    timed = [_duration(each) for each in own]
    other = OtherHours.objects.of_group(membership.group).filter(membership=membership, day__year=year)
    return Hours(
        year=year,
        visits=len(own),
        planned_visits=sum(each is None for each in timed),
        people=1,
        visit_hours=sum(
            _planned(visit) if each is None else each for visit, each in zip(own, timed, strict=True)
        ),
        other=_by_work(other),
    )


def hours_beside_visits(group: Group, year: int) -> float:
    """Hours of other work in a year, all people together."""
    found = OtherHours.objects.of_group(group).filter(day__year=year).aggregate(hours=Sum("hours"))
    return float(found["hours"] or 0)


def _visits_of(group: Group, year: int) -> GroupOwnedQuerySet[Visit]:
    made = Visit.objects.of_group(group).filter(was_made=True, visited_on__year=year).order_by()
    fields = ("visited_on", "started_at", "ended_at", "recorder", "recorder_name", "partner", "partner_name")
    return made.select_related("site").only("group", "site__group", "site__visit_minutes", *fields)


def _planned(visit: Visit) -> float:
    """Hours that a visit to its site usually takes."""
    return visit.site.visit_minutes / 60


def _pair(visit: Visit) -> set[UUID | str]:
    """Those who went: accounts, or names where there is no account; a visit is made by one at least."""
    named = (visit.recorder_id or visit.recorder_name, visit.partner_id or visit.partner_name)
    return {each if isinstance(each, UUID) else each.casefold() for each in named if each} or {""}


def _duration(visit: Visit) -> float | None:
    """Hours between start and end; None where they are missing or cannot be right."""
    if visit.started_at is None or visit.ended_at is None:
        return None
    start, end = (datetime.combine(visit.visited_on, each) for each in (visit.started_at, visit.ended_at))
    hours = (end - start).total_seconds() / 3600
    return hours if 0 < hours <= LONGEST_VISIT else None


def _other_work(group: Group, year: int) -> tuple[dict[str, float], set[UUID | str]]:
    rows = list(OtherHours.objects.of_group(group).filter(day__year=year).select_related("membership"))
    return _by_work(rows), {each.membership.user_id for each in rows}


def _by_work(rows: Iterable[OtherHours]) -> dict[str, float]:
    found: dict[str, float] = defaultdict(float)
    for each in rows:
        found[each.work] += float(each.hours)
    return dict(found)
