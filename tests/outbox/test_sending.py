"""One round of sending: claims of a few, several lines at once, and what is given back."""

from __future__ import annotations

import time
from collections import Counter
from datetime import timedelta

import pytest
from django.utils import timezone
from pytest_django import Settings

from portal.outbox import sending
from portal.outbox.claims import claim, owed
from portal.outbox.delivery import deliver, deliver_all_owed
from portal.outbox.marking import mark_for_certain
from portal.outbox.models import Attempt, Message, State
from portal.outbox.sending import Round, Sender
from portal.outbox.transport import Answer, Result
from tests.mail import Postbox, smtp_settings
from tests.outbox.conftest import Owe, again
from tests.threads import in_thread

LINES = 4


def all_attempts() -> list[Attempt]:
    return list(Attempt.objects.across_groups("tests look at all"))


def subjects(postbox: Postbox) -> Counter[str]:
    return Counter(str(mail["Subject"]) for mail in postbox.mails)


def owe_some(owe: Owe, count: int) -> list[Message]:
    return [owe(f"m{number}", subject=f"{number}") for number in range(count)]


@pytest.mark.django_db(transaction=True)
class TestLines:
    """Threads with connections of their own, to the database and to the mail server."""

    def test_a_server_that_thinks_is_spoken_to_over_several_lines(self, postbox: Postbox, owe: Owe) -> None:
        postbox.hang_seconds = 0.05
        owe_some(owe, 40)
        begun = time.monotonic()
        assert deliver_all_owed() == 40
        assert time.monotonic() - begun < 40 * 0.05, "one after the other it takes longer"
        assert len(postbox.callers) == LINES
        assert set(subjects(postbox).values()) == {1}

    def test_two_messages_need_no_second_line(self, postbox: Postbox, owe: Owe) -> None:
        first, second = owe_some(owe, 2)
        deliver(first.id)
        assert again(second).state == State.SENT
        assert len(postbox.callers) == 1

    def test_a_line_too_many_gives_its_message_back_without_a_try(self, postbox: Postbox, owe: Owe) -> None:
        """A server that takes one connection only is no server that is away."""
        postbox.most_callers, postbox.hang_seconds = 1, 0.02
        owe_some(owe, 30)
        assert deliver_all_owed() == 30
        assert set(subjects(postbox).values()) == {1}
        assert [each.succeeded for each in all_attempts()] == [True] * 30

    def test_a_server_that_cuts_every_line_doubles_no_more_than_each_line_held(
        self, postbox: Postbox, owe: Owe
    ) -> None:
        owe_some(owe, 30)
        with in_thread(deliver_all_owed):
            while len(postbox.mails) < 5:
                time.sleep(0.001)
            postbox.drop_in_data = True
        cut = [each for each in all_attempts() if not each.succeeded]
        assert 0 < len(cut) <= LINES + 1

    def test_a_server_that_is_away_is_called_once(self, owe: Owe, settings: Settings) -> None:
        settings.OUTBOX_SMTP = smtp_settings(1)
        owe_some(owe, 30)
        assert deliver_all_owed() == 1
        held = Message.objects.across_groups("tests").exclude(claimed_until=None)
        assert not held.exists()


@pytest.mark.django_db
def test_it_gives_back_what_would_have_to_wait_for_a_slow_server(
    postbox: Postbox, owe: Owe, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sending, "HAND_SECONDS", 0.02)
    postbox.hang_seconds = 0.1
    first, second, third = owe_some(owe, 3)
    with Round(10) as whole:
        sender = Sender(whole)
        batch = claim(owed().order_by("created_at"), 3)
        assert sender._send_all(batch, time.monotonic()) == 1
        sender.line.close()
    assert again(first).state == State.SENT
    assert {again(each).claimed_until for each in (second, third)} == {None}


@pytest.mark.django_db
def test_it_neither_sends_nor_frees_what_somebody_else_may_hold_by_now(postbox: Postbox, owe: Owe) -> None:
    """A worker that stood still for a while: its claims may have run out, and others may have taken them."""
    message = owe()
    with Round(10) as whole:
        batch = claim(owed())
        Sender(whole)._send_all(batch, time.monotonic() - 15)
    assert postbox.mails == []
    held = again(message).claimed_until
    assert held is not None
    assert held > timezone.now()


@pytest.mark.django_db
def test_no_line_takes_what_another_of_the_same_round_is_about_to_mark(owe: Owe) -> None:
    """The database was away for longer than a claim stands: the claim has run out, the mark is on its way."""
    held, free = owe_some(owe, 2)
    past = timezone.now() - timedelta(seconds=1)
    Message.objects.across_groups("tests").filter(id=held.id).update(claimed_until=past)
    with Round(10) as whole, whole.keeper.keeping(held):
        assert [each.id for each in whole.claim_some(5)] == [free.id]


@pytest.mark.django_db
def test_it_claims_more_at_once_the_quicker_the_server_is(postbox: Postbox, owe: Owe) -> None:
    owe_some(owe, 2)
    with Round(10) as whole:
        sender = Sender(whole)
        assert sender._send_all(claim(owed()), time.monotonic()) > 2
        postbox.hang_seconds = 0.2
        assert sender._send_all(claim(owed()), time.monotonic()) == 1
        sender.line.close()


@pytest.mark.django_db
@pytest.mark.parametrize("result", [Result.ACCEPTED, Result.TRY_AGAIN])
def test_it_marks_nothing_of_a_message_that_was_erased_meanwhile(owe: Owe, result: Result) -> None:
    message = owe()
    Message.objects.across_groups("tests").filter(id=message.id).delete()
    mark_for_certain(message, Answer(result, 250, "accepted"))
    assert all_attempts() == []


@pytest.mark.django_db
@pytest.mark.parametrize("result", [Result.REFUSED, Result.TRY_AGAIN])
def test_what_was_withdrawn_while_it_was_sent_is_neither_tried_again_nor_a_failure(
    owe: Owe, result: Result
) -> None:
    message = owe()
    rows = Message.objects.across_groups("tests").filter(id=message.id)
    rows.update(state=State.CANCELLED)
    mark_for_certain(message, Answer(result, 550, "no"))
    marked = rows.get()
    assert (marked.state, marked.not_before) == (State.CANCELLED, message.not_before)
    assert [each.succeeded for each in all_attempts()] == [False]
