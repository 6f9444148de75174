"""What is shown of the outbox: trouble at its limit, and never another group's mail."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.utils import timezone

from portal.outbox.models import Message, State
from portal.outbox.queries import (
    LATE_AFTER,
    delivered_messages,
    messages_about,
    oldest_owed_at,
    undelivered_messages,
)
from portal.outbox.services import owe_message
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)


def owe(key: str, **fields: Any) -> Message:
    known = {name: fields.pop(name) for name in ("group", "about", "not_before") if name in fields}
    message = owe_message(key=key, kind="x", to_address="a@example.org", subject=key, text="t", **known)
    for name, value in fields.items():
        setattr(message, name, value)
    message.save()
    return message


def keys(found: Any) -> list[str]:
    return [each.key for each in found]


@pytest.mark.parametrize(("more", "is_shown"), [(-SECOND, False), (SECOND, True)])
def test_it_calls_a_message_late_after_five_minutes(cast: Cast, more: timedelta, is_shown: bool) -> None:
    message = owe("slow", group=cast.group)
    with time_machine.travel(message.not_before + LATE_AFTER + more, tick=False):
        assert bool(undelivered_messages(cast.group)) == is_shown


def test_it_counts_lateness_from_when_a_message_was_to_leave(cast: Cast) -> None:
    owe("tomorrow", group=cast.group, not_before=timezone.now() + timedelta(days=1))
    with time_machine.travel(timezone.now() + timedelta(hours=23), tick=False):
        assert keys(undelivered_messages(cast.group)) == []


@pytest.mark.parametrize(
    ("fields", "is_shown"),
    [
        ({"state": State.FAILED}, True),
        ({"attempts_made": 1}, True),
        ({"state": State.SENT, "attempts_made": 3}, False),
        ({"state": State.CANCELLED, "attempts_made": 1}, False),
        ({}, False),
    ],
)
def test_it_shows_trouble_and_nothing_else(cast: Cast, fields: dict[str, Any], is_shown: bool) -> None:
    owe("k", group=cast.group, **fields)
    assert bool(undelivered_messages(cast.group)) == is_shown


def test_it_shows_the_newest_first(cast: Cast) -> None:
    now = timezone.now()
    for hours in (3, 1, 2):
        then = now - timedelta(hours=hours)
        owe(f"f{hours}", group=cast.group, state=State.FAILED, created_at=then)
        owe(f"s{hours}", group=cast.group, state=State.SENT, sent_at=then)
    assert keys(undelivered_messages(cast.group)) == ["f1", "f2", "f3"]
    assert keys(delivered_messages(cast.group)) == ["s1", "s2", "s3"]


def test_it_shows_no_mail_of_another_group_and_none_of_accounts(cast: Cast) -> None:
    """Mail of the sign-in pages belongs to no group: a link to set a password is nobody else's to see."""
    owe("theirs", group=cast.neighbour, state=State.FAILED)
    owe("password", state=State.FAILED)
    owe("own", group=cast.group, state=State.FAILED)
    assert keys(undelivered_messages(cast.group)) == ["own"]
    assert keys(delivered_messages(cast.group)) == []


def test_it_finds_the_mail_about_one_record_in_the_order_written(cast: Cast) -> None:
    for key in ("first", "second"):
        owe(key, group=cast.group, about=cast.site)
    owe("other", group=cast.group, about=cast.neighbour_site)
    owe("theirs", group=cast.neighbour, about=cast.site)
    assert keys(messages_about(cast.site, cast.group)) == ["first", "second"]


def test_it_asks_once_for_all_attempts(cast: Cast, django_assert_num_queries: Any) -> None:
    for number in range(5):
        owe(f"k{number}", group=cast.group, state=State.FAILED)
    with django_assert_num_queries(2):
        assert [list(each.attempts.all()) for each in undelivered_messages(cast.group)] == [[]] * 5


def test_it_measures_the_oldest_message_that_is_due(cast: Cast) -> None:
    assert oldest_owed_at() is None
    now = timezone.now()
    owe("sent", created_at=now - timedelta(hours=9), state=State.SENT)
    owe("later", created_at=now - timedelta(hours=8), not_before=now + timedelta(hours=1))
    assert oldest_owed_at() is None
    owe("young", group=cast.group, created_at=now - timedelta(minutes=2))
    old = owe("old", group=cast.neighbour, created_at=now - timedelta(hours=2))
    assert oldest_owed_at() == old.created_at
