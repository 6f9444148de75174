"""What a nudged worker does: its own message, what else is owed, and whom it asks to go on."""

from __future__ import annotations

import time
from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from django.utils import timezone
from pytest_django import Settings

from portal.embedded.inbox import free_port
from portal.outbox import delivery, resting
from portal.outbox.delivery import deliver, deliver_all_owed
from portal.outbox.models import State
from portal.outbox.tasks import deliver_message
from tests.mail import Postbox, smtp_settings
from tests.outbox.conftest import Owe, again

pytestmark = pytest.mark.django_db


def test_it_ignores_a_nudge_for_a_message_that_is_gone(postbox: Postbox) -> None:
    deliver_message(str(uuid4()))
    assert postbox.mails == []


def test_a_nudge_takes_along_what_else_is_owed_over_the_same_line(postbox: Postbox, owe: Owe) -> None:
    messages = [owe(key) for key in ("a", "b", "c")]
    deliver(messages[1].id)
    assert {again(each).state for each in messages} == {State.SENT}
    assert len(postbox.callers) == 1
    assert len(postbox.mails) == 3


def test_a_nudge_takes_nothing_along_when_its_own_message_is_put_off(postbox: Postbox, owe: Owe) -> None:
    postbox.answers = ["451 later"]
    first, other = owe("a"), owe("b")
    deliver(first.id)
    assert again(other).state == State.OWED


def test_a_nudge_takes_along_only_what_is_due(postbox: Postbox, owe: Owe) -> None:
    first, later = owe("a"), owe("b")
    later.not_before = timezone.now() + timedelta(hours=1)
    later.save()
    deliver(first.id)
    assert again(later).state == State.OWED


def called_for(monkeypatch: pytest.MonkeyPatch) -> list[tuple[UUID, float]]:
    """Which messages whoever is free was asked to go on with, and for how long that stands."""
    calls: list[tuple[UUID, float]] = []
    monkeypatch.setattr(delivery, "nudge", lambda message, within: calls.append((message, within)))
    return calls


def test_whoever_runs_out_of_time_asks_another_to_go_on(
    postbox: Postbox, owe: Owe, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = called_for(monkeypatch)
    first, left = owe("a"), owe("b")
    monkeypatch.setattr(delivery, "SWEEP_SECONDS", 0)
    deliver(first.id)
    assert calls == [(left.id, 0)]
    assert deliver_all_owed() == 0
    assert calls == [(left.id, 0)] * 2
    deliver(left.id)
    assert calls == [(left.id, 0)] * 2, "nothing is owed any more"


def test_whoever_has_sent_all_that_is_owed_asks_nobody(
    postbox: Postbox, owe: Owe, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = called_for(monkeypatch)
    for key in ("a", "b", "c"):
        owe(key)
    assert deliver_all_owed() == 3
    assert calls == []


def test_nobody_is_asked_to_go_on_with_a_server_that_is_away(
    owe: Owe, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = called_for(monkeypatch)
    settings.OUTBOX_SMTP = smtp_settings(free_port())
    owe("a")
    owe("b")
    deliver_all_owed()
    assert calls == []


def test_nudges_leave_a_server_that_is_away_to_the_sweep(
    owe: Owe, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A thousand nudges must not hold a worker up for a timeout each."""
    settings.OUTBOX_SMTP = smtp_settings(free_port())
    assert deliver(owe("a").id) is not None
    second = owe("b")
    assert deliver(second.id) is None
    assert deliver_all_owed() == 1
    monkeypatch.setattr(resting, "_rest_until", time.monotonic() - 1)
    assert deliver(owe("c").id) is not None


def test_nudges_come_back_with_the_first_that_is_accepted(
    postbox: Postbox, owe: Owe, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(resting, "_rest_until", time.monotonic() + 60)
    owe("a")
    assert deliver_all_owed() == 1
    assert deliver(owe("b").id) is not None
