"""Sweeps that run side by side, and a sweep against somebody who is back: real connections, real locks."""

from __future__ import annotations

import threading
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from portal.outbox.models import Message
from surveys.models import SafeReturn
from surveys.services import return_watch
from surveys.services.return_watch import watch_returns
from surveys.services.safe_returns import end_safe_return
from tests.conftest import Cast
from tests.surveys.outings.returning import begin_return, course, fresh
from tests.threads import run_together

pytestmark = pytest.mark.django_db(transaction=True)


def make_overdue(begun: SafeReturn, minutes: int) -> None:
    """As if it had been started long ago."""
    expected = timezone.now() - timedelta(minutes=minutes)
    SafeReturn.objects.of_group(begun.group).filter(pk=begun.pk).update(
        started_at=expected - timedelta(hours=2), expected_at=expected, next_step_at=expected
    )


def overdue_mails() -> list[str]:
    kinds = ("return.pair", "return.overdue")
    owed = (
        Message.objects.across_groups("tests").filter(kind__in=kinds).exclude(subject__startswith="Your safe")
    )
    return sorted(owed.values_list("to_address", flat=True))


def test_two_sweeps_at_once_tell_everybody_once(cast: Cast) -> None:
    returns = [begin_return(cast) for _ in range(4)]
    for each in returns:
        make_overdue(each, 50)
    handled = [each.result() for each in run_together(watch_returns, watch_returns, watch_returns)]
    assert sum(handled) == 4
    assert len(overdue_mails()) == 4 * 5
    for each in returns:
        assert course(each) == ["started", "again", "coordinators", "named"]


def test_without_the_lock_both_would_take_the_step(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    """The race is real: two sweeps that do not ask again under the lock write the course twice."""
    begun = begin_return(cast)
    make_overdue(begun, 50)
    meeting = threading.Barrier(2, timeout=20)
    rows = SafeReturn.objects.across_groups("tests").select_related("group", "site", "started_by", "partner")

    def unguarded() -> None:
        found = rows.get(pk=begun.pk)
        meeting.wait()
        return_watch.take_steps(found, timezone.now())

    for each in run_together(unguarded, unguarded):
        each.exception()
    assert course(begun).count("named") == 2
    assert len(overdue_mails()) == 5, "even then the keys of the messages hold"


def test_somebody_who_is_back_while_the_sweep_runs_is_not_chased(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = begin_return(cast)
    make_overdue(begun, 50)
    person = cast.person("volunteer")
    inside, real = threading.Event(), return_watch.take_steps

    def slowly(safe_return: SafeReturn, now: Any) -> None:
        inside.set()
        real(safe_return, now)

    monkeypatch.setattr(return_watch, "take_steps", slowly)

    def back() -> None:
        assert inside.wait(20)
        end_safe_return(safe_return=begun, person=person)

    for each in run_together(watch_returns, back):
        each.result()
    assert not fresh(begun).is_live
    assert course(begun)[-1] == "back"
    left = Message.objects.across_groups("tests").filter(state="owed").values_list("kind", flat=True)
    assert set(left) == {"return.note"}, "what the sweep owed is withdrawn, and all hear that they are back"
    assert watch_returns() == 0
