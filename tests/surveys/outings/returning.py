"""Steps that the tests of safe returns share."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.utils import timezone

from portal.outbox.models import Message
from surveys.models import ReturnEvent, SafeReturn
from surveys.services.safe_returns import Plan, start_safe_return
from tests.conftest import Cast

OUTSIDER: dict[str, Any] = {"named_name": "Hazel Shore", "named_email": "hazel@home.example"}


def plan_for(cast: Cast, **changes: Any) -> Plan:
    """An outing of two hours with a partner, and a shore contact from outside the group."""
    usual = Plan(
        expected_at=timezone.now() + timedelta(hours=2),
        partner=cast.other_volunteer.pk,
        phone="01632 960001",
        car="Small green van, lay-by at the bridge",
        **OUTSIDER,
    )
    return replace(usual, **changes)


def begin_return(cast: Cast, number: UUID | None = None, **changes: Any) -> SafeReturn:
    """A safe return that the volunteer has started."""
    plan = plan_for(cast, **changes)
    person = cast.person("volunteer")
    return start_safe_return(person=person, site=cast.site, number=number or uuid4(), plan=plan)


def fresh(safe_return: SafeReturn) -> SafeReturn:
    """As it stands in the database."""
    return SafeReturn.objects.across_groups("tests").get(pk=safe_return.pk)


def mails_to(address: str) -> list[Message]:
    """What is owed or was sent to an address, in the order in which it was owed."""
    owed = Message.objects.across_groups("tests").exclude(state="cancelled")
    return list(owed.filter(to_address=address, kind__startswith="return.").order_by("created_at"))


def course(safe_return: SafeReturn) -> list[str]:
    """The kinds of the events so far."""
    events = ReturnEvent.objects.of_group(safe_return.group).filter(safe_return=safe_return)
    return [each.kind for each in events.order_by("pk")]


def minutes_after(moment: datetime, minutes: float) -> datetime:
    """So many minutes later."""
    return moment + timedelta(minutes=minutes)
