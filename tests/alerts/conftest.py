"""A site that can raise an alert: eight approved visits, a trigger, two contacts at an agency."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from alerts.models import AgencyContact, Incident, SiteContact, Trigger, Verdict
from portal.accounts.models import User
from portal.outbox.models import Message, State
from surveys.models import Site, SpotEffort, TaxonCount, Visit, VisitScore
from surveys.models.visits import Status
from tests.conftest import Cast, make_cast
from tests.factories import CLEAN_COUNTS, VisitFactory, days_ago, submit

# Two tolerant families: BMWP 4 (Baetidae) + 2 (Chironomidae).
LOW = {"Baetidae": 3, "Chironomidae": 60}
LOW_SCORE, CLEAN_SCORE, LEVEL = 6, 48, 30


@dataclass(frozen=True)
class Watch:
    """The cast of the tests with a site under watch."""

    cast: Cast
    site: Site
    trigger: Trigger
    first: AgencyContact
    second: AgencyContact

    def submit_low(self, by: str = "volunteer", **changes: Any) -> Visit:
        """Submit a low visit the real way."""
        return submit(self.cast.person(by), self.site, **({"counts": LOW} | changes))

    def submit_clean(self, by: str = "volunteer", **changes: Any) -> Visit:
        return submit(self.cast.person(by), self.site, **changes)


def name_contact(site: Site, order: int, name: str, email: str, **fields: Any) -> AgencyContact:
    contact = AgencyContact.objects.create(
        group=site.group, name=name, organisation="Rivers Office", email=email, **fields
    )
    SiteContact.objects.create(site=site, contact=contact, order=order)
    return contact


def add_baseline(site: Site, reviewer: User, author: User, visits: int = 8) -> list[Visit]:
    """Approved visits of standard effort, a month apart, the last one 30 days ago."""
    return approved_visits(site, reviewer, author, [days_ago(30 * number) for number in range(visits, 0, -1)])


def approved_visit(site: Site, reviewer: User, author: User, day: date, bmwp: float = CLEAN_SCORE) -> Visit:
    (visit,) = approved_visits(site, reviewer, author, [day], bmwp)
    return visit


def approved_visits(
    site: Site, reviewer: User, author: User, days: Sequence[date], bmwp: float = CLEAN_SCORE
) -> list[Visit]:
    """One for each day, by four queries in all."""
    people = {"entered_by": author, "recorder": author, "reviewed_by": reviewer}
    visits = [VisitFactory.build(site=site, visited_on=day, status=Status.APPROVED, **people) for day in days]
    Visit.objects.bulk_create(visits)
    SpotEffort.objects.bulk_create(
        SpotEffort(visit=visit, number=each, kicks=3, seconds=Decimal(30))
        for visit in visits
        for each in (1, 2, 3)
    )
    TaxonCount.objects.bulk_create(
        TaxonCount(visit=visit, taxon=taxon, count=count)
        for visit in visits
        for taxon, count in CLEAN_COUNTS.items()
    )
    VisitScore.objects.bulk_create(
        VisitScore(visit=visit, index="bmwp", version="1980-table-1", value=bmwp) for visit in visits
    )
    return visits


def set_level(site: Site, by: User, level: float = LEVEL, **fields: Any) -> Trigger:
    values = {"index": "bmwp", "valid_from": days_ago(400), "reason": "Agreed with the agency."} | fields
    return Trigger.objects.create(group=site.group, site=site, level=level, set_by=by, **values)


@pytest.fixture
def watch(cast: Cast) -> Watch:
    return make_watch(cast)


def make_watch(cast: Cast) -> Watch:
    add_baseline(cast.site, cast.coordinator, cast.other_volunteer)
    User.objects.filter(pk=cast.coordinator.pk).update(phone="01632 960001")
    cast.coordinator.refresh_from_db()
    return Watch(
        cast=cast,
        site=cast.site,
        trigger=set_level(cast.site, cast.coordinator),
        first=name_contact(
            cast.site,
            1,
            "Ines Halloran",
            "ines@rivers.example",
            duty_line="0800 555 0100",
            phone="01632 960777",
        ),
        second=name_contact(cast.site, 2, "Bo Lindqvist", "bo@rivers.example"),
    )


def raised() -> tuple[Watch, Visit]:
    """A site under watch and the low visit that has just raised an alert, for `built_once`."""
    watch = make_watch(make_cast())
    return watch, watch.submit_low()


def verdict_of(visit: Visit) -> Verdict:
    return Verdict.objects.get(group=visit.group, visit=visit)


def incidents() -> list[Incident]:
    return list(Incident.objects.across_groups("tests look at all").order_by("opened_at"))


def the_incident() -> Incident:
    return Incident.objects.across_groups("tests look at all").get()


def course(incident: Incident) -> list[str]:
    """The kinds of its events, in order; without those of repeat visits, which tests of their own hold."""
    steps = incident.events.exclude(kind__startswith="repeat_").order_by("at", "id")
    return [each.kind for each in steps]


def mails(**filters: Any) -> list[Message]:
    """Messages owed, oldest first; offers of repeat visits only when they are asked for by kind."""
    found = Message.objects.across_groups("tests look at all").filter(**filters)
    if not any(name.startswith("kind") for name in filters):
        found = found.exclude(kind__startswith="volunteer.repeat_")
    return list(found.order_by("created_at", "to_address"))


def kinds_to(address: str) -> list[str]:
    """The kinds of message owed to an address, in order."""
    return [each.kind for each in mails(to_address=address) if each.state != State.CANCELLED]


def in_hours(hours: float) -> timedelta:
    return timedelta(hours=hours)
