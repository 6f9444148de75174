"""A group whose members have said when they can."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.utils import timezone

from portal.outbox.models import Message
from surveys.models import Site
from surveys.rota.models import Assignment, PlannedVisit
from tests.conftest import Cast
from tests.factories import SiteFactory
from tests.rota.making import offer_days


@pytest.fixture
def crew(cast: Cast) -> Cast:
    """Vera, Owen and Cora can on every day; Cole has not said."""
    for user in (cast.volunteer, cast.other_volunteer, cast.coordinator):
        offer_days(cast.group, user, most_a_month=4)
    return cast


@pytest.fixture
def second_site(cast: Cast) -> Site:
    site: Site = SiteFactory(group=cast.group, code="AB2", name="Weir pool", latitude=54.6)
    return site


def ahead(days: int) -> date:
    """The day that is so many days ahead."""
    return timezone.localdate() + timedelta(days=days)


def mails(kind: str) -> list[Message]:
    """The messages of one kind, oldest first."""
    rows = Message.objects.across_groups("tests look at all").filter(kind=kind)
    return list(rows.order_by("created_at", "to_address"))


def to_whom(kind: str) -> set[str]:
    return {each.to_address.split("@")[0] for each in mails(kind)}


def state_of(place: Assignment) -> str:
    return Assignment.objects.across_groups("tests look at all").get(pk=place.pk).state


def fresh(planned: PlannedVisit) -> PlannedVisit:
    rows = PlannedVisit.objects.across_groups("tests look at all").select_related("site", "group")
    return rows.get(pk=planned.pk)


def names_on(planned: PlannedVisit) -> set[str]:
    """First names of those down for it, proposed or told."""
    rows = Assignment.objects.of_group(planned.group).filter(planned=planned)
    down = rows.filter(state__in=["proposed", "asked", "accepted"]).select_related("user")
    return {each.user.name.split()[0] for each in down}
