"""Nudges rest after a server that took nothing, and no longer."""

from __future__ import annotations

import time
from datetime import timedelta

import pytest
import time_machine

from portal.outbox.resting import REST_SECONDS, is_resting, note_server
from portal.outbox.transport import Answer, Result


def answered(result: Result) -> Answer:
    return Answer(result, None, "as the server said")


@pytest.mark.parametrize("result", Result)
def test_only_a_server_that_was_away_is_left_alone(result: Result) -> None:
    note_server(answered(result))
    assert is_resting() is (result in (Result.NO_SERVER, Result.CUT_OFF))


def test_whatever_the_server_takes_ends_the_rest() -> None:
    note_server(answered(Result.NO_SERVER))
    note_server(answered(Result.REFUSED))
    assert not is_resting()


def test_the_rest_is_over_after_its_time(monkeypatch: pytest.MonkeyPatch) -> None:
    begun = time.monotonic()
    monkeypatch.setattr("time.monotonic", lambda: begun)
    note_server(answered(Result.CUT_OFF))
    monkeypatch.setattr("time.monotonic", lambda: begun + REST_SECONDS - 0.1)
    assert is_resting()
    monkeypatch.setattr("time.monotonic", lambda: begun + REST_SECONDS)
    assert not is_resting()


def test_a_clock_that_is_set_ends_no_rest() -> None:
    note_server(answered(Result.NO_SERVER))
    with time_machine.travel(timedelta(days=1), tick=True):
        assert is_resting()
