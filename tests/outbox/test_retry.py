"""A coordinator has what was not delivered tried again."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.audit.models import AuditEntry
from portal.outbox.models import Message, State
from portal.outbox.services import owe_message, retry_messages
from tests.conftest import Cast


def stuck(cast: Cast, key: str, **fields: object) -> Message:
    message = owe_message(
        key=key, kind="alert", to_address="ona@agency.example", subject="Low", text="Low.", group=cast.group
    )
    Message.objects.of_group(cast.group).filter(pk=message.pk).update(**fields)
    return message


def test_it_owes_what_failed_or_was_put_off_anew(cast: Cast) -> None:
    later = timezone.now() + timedelta(hours=1)
    failed = stuck(cast, "a", state=State.FAILED, attempts_made=20)
    put_off = stuck(cast, "b", attempts_made=3, not_before=later)
    assert retry_messages(person=cast.person("coordinator"), group=cast.group) == 2
    for message in (failed, put_off):
        message.refresh_from_db()
        assert (message.state, message.attempts_made) == (State.OWED, 0)
        assert message.not_before <= timezone.now()
    entry = AuditEntry.objects.of_group(cast.group).get(verb="messages.retried")
    assert entry.changes == {"messages": [None, 2]}


def test_it_leaves_alone_what_is_sent_cancelled_in_hand_or_anothers(cast: Cast) -> None:
    sent, cancelled = stuck(cast, "a", state=State.SENT), stuck(cast, "b", state=State.CANCELLED)
    in_hand = stuck(cast, "c", attempts_made=1, claimed_until=timezone.now() + timedelta(seconds=15))
    others = stuck(cast, "d", state=State.FAILED, group=cast.neighbour)
    assert retry_messages(person=cast.person("coordinator"), group=cast.group) == 0
    states = [Message.objects.across_groups("test").get(pk=each.pk).state for each in (sent, cancelled, others)]
    assert states == [State.SENT, State.CANCELLED, State.FAILED]
    in_hand.refresh_from_db()
    assert in_hand.attempts_made == 1
    assert not AuditEntry.objects.of_group(cast.group).filter(verb="messages.retried").exists()


def test_it_is_for_coordinators(cast: Cast) -> None:
    stuck(cast, "a", state=State.FAILED)
    with pytest.raises(PermissionDenied):
        retry_messages(person=cast.person("volunteer"), group=cast.group)


@pytest.mark.parametrize(
    ("number", "words"), [(0, "Nothing waits"), (1, "1 message is"), (2, "2 messages are")]
)
def test_the_page_says_how_many(cast: Cast, client: Client, number: int, words: str) -> None:
    for each in range(number):
        stuck(cast, f"k{each}", state=State.FAILED)
    client.force_login(cast.coordinator)
    answer = client.post(reverse("messages_retry", kwargs={"slug": cast.group.slug}), follow=True)
    assert words in answer.content.decode()


def test_the_desk_offers_it_only_while_something_is_stuck(cast: Cast, client: Client) -> None:
    client.force_login(cast.coordinator)
    desk = reverse("group_desk", kwargs={"slug": cast.group.slug})
    assert "Try again now" not in client.get(desk).content.decode()
    stuck(cast, "a", state=State.FAILED)
    assert "Try again now" in client.get(desk).content.decode()
