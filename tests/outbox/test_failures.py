"""Who is told that a message could not be delivered."""

from __future__ import annotations

import pytest

from portal.outbox import failures
from portal.outbox.delivery import deliver, deliver_all_owed
from portal.outbox.failures import _listeners, on_failed
from portal.outbox.models import Attempt, Message, State
from tests.mail import Postbox
from tests.outbox.conftest import Owe, again

pytestmark = pytest.mark.django_db


def test_it_tells_the_listeners_of_a_failure_once(postbox: Postbox, owe: Owe) -> None:
    heard: list[tuple[str, str]] = []

    def listener(message: Message, answer: str) -> None:
        heard.append((message.key, answer))

    on_failed(listener)
    on_failed(listener)
    try:
        postbox.answers = ["451 later"]
        message = owe("a")
        deliver(message.id)
        assert heard == []
        postbox.answers = ["550 never"]
        deliver(owe("b").id)
    finally:
        _listeners.remove(listener)
    assert heard == [("b", "never")]


def test_a_listener_that_stumbles_neither_undoes_the_mark_nor_keeps_others_from_hearing(
    postbox: Postbox, owe: Owe, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else the sweep would meet the same message over and over, and send nothing after it."""
    heard: list[str] = []

    def stumbling(message: Message, _answer: str) -> None:
        Attempt.objects.create(message=message, succeeded=False)
        raise KeyError("incident")

    monkeypatch.setattr(failures, "_listeners", [stumbling, lambda message, _answer: heard.append(message.key)])
    postbox.rcpt_answers = {"gone@agency.example": "550 no"}
    lost, other = owe("lost", to_address="gone@agency.example"), owe("other")
    assert deliver_all_owed() == 2
    assert (again(lost).state, again(other).state) == (State.FAILED, State.SENT)
    assert heard == ["lost"]
    assert lost.attempts.count() == 1, "half of what it did is undone"
