"""Makes people, groups, sites and visits for tests; all of them invented."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import factory
from django.utils import timezone
from factory.django import DjangoModelFactory

from portal.accounts.access import Person
from portal.accounts.addresses import prove_address
from portal.accounts.models import Group, Membership, Role, User
from portal.accounts.queries import person_of
from surveys.models import Measurement, RecordingList, Site, SpotEffort, TaxonCount, Visit
from surveys.services.built_in_lists import ensure_family_list
from surveys.submission import Submission, parse_submission

# A clean riffle of seven scoring families: BMWP 10+10+10+7+5+4+2 = 48, ASPT 48/7.
CLEAN_COUNTS = {
    "Heptageniidae": 14,
    "Leuctridae": 6,
    "Sericostomatidae": 3,
    "Rhyacophilidae": 4,
    "Elmidae": 8,
    "Baetidae": 40,
    "Chironomidae": 25,
}


def family_list() -> RecordingList:
    """The built-in list; made again where a truncating test has swept it away."""
    return ensure_family_list()


class UserFactory(DjangoModelFactory[User]):
    """An account without a usable password (give one to sign in through the page)."""

    class Meta:
        model = User

    name = factory.Sequence(lambda n: f"Robin Example {n}")
    email = factory.Sequence(lambda n: f"person{n}@example.org")

    @classmethod
    def _create(cls, model_class: type[User], *args: Any, **kwargs: Any) -> User:
        return User.objects.create_user(**kwargs)


class GroupFactory(DjangoModelFactory[Group]):
    class Meta:
        model = Group

    name = factory.Sequence(lambda n: f"Example Group {n}")
    slug = factory.Sequence(lambda n: f"example-group-{n}")


class MembershipFactory(DjangoModelFactory[Membership]):
    class Meta:
        model = Membership

    group = factory.SubFactory(GroupFactory)
    user = factory.SubFactory(UserFactory)
    role = Role.VOLUNTEER


class SiteFactory(DjangoModelFactory[Site]):
    """A site with the standard effort of 3 spots, 3 kicks each, 10 s a kick."""

    class Meta:
        model = Site

    group = factory.SubFactory(GroupFactory)
    code = factory.Sequence(lambda n: f"S{n}")
    name = "Stepping stones"
    river = "Alder Beck"
    latitude = 54.5
    longitude = -2.5
    recording_list = factory.LazyFunction(family_list)


class VisitFactory(DjangoModelFactory[Visit]):
    """A bare saved visit, neither checked nor scored; `tests.factories.submit` goes the real way."""

    class Meta:
        model = Visit

    site = factory.SubFactory(SiteFactory)
    group = factory.SelfAttribute("site.group")
    recording_list = factory.SelfAttribute("site.recording_list")
    visited_on = factory.LazyFunction(lambda: timezone.localdate() - timedelta(days=1))
    entered_by = factory.SubFactory(UserFactory)
    submitted_at = factory.LazyFunction(timezone.now)


class SpotEffortFactory(DjangoModelFactory[SpotEffort]):
    class Meta:
        model = SpotEffort

    visit = factory.SubFactory(VisitFactory)
    number = factory.Sequence(lambda n: n + 1)
    kicks = 3
    seconds = Decimal(30)


class MeasurementFactory(DjangoModelFactory[Measurement]):
    class Meta:
        model = Measurement

    visit = factory.SubFactory(VisitFactory)
    quantity = "ph"
    unit = "pH"
    as_typed = "7.9"
    value = Decimal("7.9")


class TaxonCountFactory(DjangoModelFactory[TaxonCount]):
    class Meta:
        model = TaxonCount

    visit = factory.SubFactory(VisitFactory)
    taxon = "Baetidae"
    count = 12


def person_for(user: User) -> Person:
    """The acting person of an account, with the roles held now."""
    return person_of(user)


def member_of(group: Group, role: str = Role.VOLUNTEER, **user: Any) -> User:
    """A new account with a role in the group."""
    account = UserFactory(**user)
    MembershipFactory(group=group, user=account, role=role)
    return account


def account_at(email: str, **user: Any) -> User:
    """A new account that has proven this address, as by an invitation or a confirmation mail."""
    account: User = UserFactory(email=email, **user)
    assert prove_address(account)
    return account


def data_for(site: Site, **changes: Any) -> dict[str, Any]:
    """Valid submission data of an ordinary visit, as the form sends it; `changes` replace whole fields.

    `counts` may be given short, as {"Baetidae": 12}.
    """
    counts = changes.pop("counts", CLEAN_COUNTS)
    if isinstance(counts, dict):
        counts = [{"taxon": taxon, "count": str(count)} for taxon, count in counts.items()]
    planned = site.kicks_per_spot * site.seconds_per_kick
    spots = [
        {
            "number": n,
            "flow_type": "riffle",
            "kicks": site.kicks_per_spot,
            "seconds": str(planned),
            "depth_cm": "20",
        }
        for n in range(1, site.spots + 1)
    ]
    usual = {
        "id": str(uuid4()),
        "site": str(site.pk),
        "was_made": True,
        "visited_on": (timezone.localdate() - timedelta(days=1)).isoformat(),
        "started_at": "10:00",
        "ended_at": "11:10",
        "partner_name": "Sam Example",
        "water_level": "normal",
        "clarity": "clear",
        "weather": "dry",
        "weather_past_week": "dry",
        "spots": spots,
        "measurements": {"temperature": {"value": "11.4"}, "ph": {"value": "7.9"}, "oxygen": {"value": "10.5"}},
        "counts": counts,
    }
    return usual | changes


def submission_for(site: Site, **changes: Any) -> Submission:
    """The same, already read."""
    return parse_submission(data_for(site, **changes))


def submit(person: Person, site: Site, **changes: Any) -> Visit:
    """Submit a visit the real way: checked, scored, audited, told to whoever listens."""
    from surveys.services.visits import submit_visit

    return submit_visit(person=person, submission=submission_for(site, **changes)).visit


def days_ago(days: int) -> date:
    """The day that was so many days ago."""
    return timezone.localdate() - timedelta(days=days)
