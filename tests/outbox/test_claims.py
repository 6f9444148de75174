"""Who may send a message: claims kept while a server thinks, freed when their holder dies, clocks set."""

from __future__ import annotations

import time
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import DatabaseError, OperationalError
from django.utils import timezone
from pytest_django import Settings

from portal.outbox import claims, marking
from portal.outbox.claims import LONGEST_CLAIM, Keeper, claim, claim_seconds, give_back, owed
from portal.outbox.delivery import deliver
from portal.outbox.models import Message, State
from portal.outbox.tasks import sweep_outbox
from tests.mail import Postbox, smtp_settings
from tests.outbox.conftest import Owe, again
from tests.threads import in_thread

CLAIMED = [(timedelta(seconds=30), 0), (timedelta(seconds=-1), 1), (timedelta(hours=1), 1)]


def change(message: Message, **fields: Any) -> None:
    Message.objects.across_groups("tests").filter(id=message.id).update(**fields)


@pytest.mark.django_db
@pytest.mark.parametrize(("ahead", "tried"), CLAIMED)
def test_it_sends_what_nobody_holds(postbox: Postbox, owe: Owe, ahead: timedelta, tried: int) -> None:
    """Held, run out, or from before the clock was set back by an hour."""
    message = owe()
    change(message, claimed_until=timezone.now() + ahead)
    assert sweep_outbox() == tried
    assert len(postbox.mails) == tried


@pytest.mark.django_db
@pytest.mark.parametrize(("timeout", "seconds"), [(1, 6), (20, LONGEST_CLAIM)])
def test_a_claim_is_short_however_slow_servers_may_be(
    owe: Owe, settings: Settings, timeout: int, seconds: float
) -> None:
    settings.OUTBOX_SMTP = smtp_settings(25, timeout=timeout)
    owe()
    (message,) = claim(owed())
    assert claim_seconds() == seconds
    until = again(message).claimed_until
    assert until is not None
    assert (until - timezone.now()).total_seconds() == pytest.approx(seconds, abs=3)


@pytest.mark.django_db
def test_a_clock_set_back_holds_up_neither_what_was_due_nor_what_was_put_off(
    postbox: Postbox, owe: Owe
) -> None:
    with time_machine.travel(timezone.now() + timedelta(days=1)):
        fresh, tried = owe("fresh"), owe("tried")
        change(tried, attempts_made=1, not_before=timezone.now() + timedelta(minutes=1))
        late = owe("later", not_before=timezone.now() + timedelta(hours=2))
    assert sweep_outbox() == 2
    assert [again(each).state for each in (fresh, tried, late)] == [State.SENT, State.SENT, State.OWED]


@pytest.mark.django_db
def test_a_clock_set_ahead_doubles_nothing_that_is_claimed(postbox: Postbox, owe: Owe) -> None:
    """Claims are told by the database's clock alone, whatever a worker's own one says."""
    owe()
    assert claim(owed())
    with time_machine.travel(timezone.now() + timedelta(hours=1)):
        assert sweep_outbox() == 0
    assert postbox.mails == []


@pytest.mark.django_db
def test_several_are_taken_together_and_what_was_not_begun_is_given_back(owe: Owe) -> None:
    messages = [owe(f"m{number}") for number in range(3)]
    taken = claim(owed().order_by("created_at"), 2)
    assert [each.id for each in taken] == [each.id for each in messages[:2]]
    give_back(taken[1:])
    assert [each.id for each in claim(owed().order_by("created_at"), 3)] == [each.id for each in messages[1:]]


@pytest.mark.django_db
def test_a_late_renewal_takes_back_nothing_that_was_put_off_or_given_back(owe: Owe) -> None:
    message = owe()
    claim(owed())
    give_back([message])
    claims._prolong([message.id])
    assert again(message).claimed_until is None


def claimed(message: Message) -> datetime:
    until = again(message).claimed_until
    assert until is not None
    return until


@pytest.mark.django_db(transaction=True)
class TestKept:
    """Renewal by a thread with a connection of its own."""

    @pytest.fixture(autouse=True)
    def _brief(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(claims, "claim_seconds", lambda: 0.4)

    def test_nobody_else_takes_what_a_slow_server_has_in_hand(self, postbox: Postbox, owe: Owe) -> None:
        message = owe()
        postbox.hang_seconds = 1.2
        with in_thread(lambda: deliver(message.id)) as sending:
            while again(message).claimed_until is None:
                time.sleep(0.01)
            while not sending.done():
                assert claim(owed()) == []
                time.sleep(0.03)
        assert len(postbox.mails) == 1
        assert again(message).state == State.SENT

    def test_a_holder_that_stops_renewing_is_followed_within_the_claim(self, owe: Owe) -> None:
        owe()
        assert claim(owed())
        assert claim(owed()) == []
        time.sleep(0.5)
        assert claim(owed())

    def test_it_goes_on_after_a_renewal_that_failed(
        self, owe: Owe, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
    ) -> None:
        owe()
        (message,) = claim(owed())
        troubles, prolong = [DatabaseError("away")], claims._prolong

        def troubled(numbers: Any) -> None:
            if troubles:
                raise troubles.pop()
            prolong(numbers)

        monkeypatch.setattr(claims, "_prolong", troubled)
        first = claimed(message)
        keeper = Keeper()
        with keeper.keeping(message):
            time.sleep(0.35)
        keeper.close()
        assert claimed(message) > first
        assert "could not be renewed" in caplog.text

    def test_it_waits_with_the_mark_for_a_database_that_is_restarted(
        self, postbox: Postbox, owe: Owe, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        troubles, mark = [OperationalError("restarting")] * 3, marking._mark

        def troubled(*given: Any) -> None:
            if troubles:
                raise troubles.pop()
            mark(*given)

        monkeypatch.setattr(marking, "_mark", troubled)
        message = owe()
        deliver(message.id)
        assert again(message).state == State.SENT
        assert len(postbox.mails) == 1
