"""Signs of life: who gives them, how often, and that a missing database stops nobody."""

from __future__ import annotations

from datetime import timedelta

import pytest
from celery.signals import beat_init, before_task_publish
from django.db import OperationalError, connection
from django.utils import timezone

from portal.outbox import heartbeats
from portal.outbox.heartbeats import SCHEDULER, WORKER, note_alive, seconds_since
from portal.outbox.models import Heartbeat
from portal.outbox.tasks import sweep_outbox

pytestmark = pytest.mark.django_db


def put_back(part: str, seconds: int) -> None:
    Heartbeat.objects.filter(name=part).update(at=timezone.now() - timedelta(seconds=seconds))


def test_nobody_has_been_alive_in_the_beginning() -> None:
    assert seconds_since() == {WORKER: None, SCHEDULER: None}


def test_it_counts_from_the_last_sign() -> None:
    note_alive(WORKER)
    put_back(WORKER, 70)
    assert seconds_since()[WORKER] == pytest.approx(70, abs=5)
    note_alive(WORKER)
    assert seconds_since()[WORKER] == pytest.approx(0, abs=5)


def test_a_sweep_is_the_sign_of_the_worker() -> None:
    sweep_outbox()
    assert seconds_since()[WORKER] is not None
    assert seconds_since()[SCHEDULER] is None


def test_a_missing_database_stops_nobody(caplog: pytest.LogCaptureFixture) -> None:
    def refuse(*_given: object) -> None:
        raise OperationalError("gone")

    with connection.execute_wrapper(refuse):
        note_alive(WORKER)
    assert "could not be written" in caplog.text


@pytest.fixture
def scheduler(monkeypatch: pytest.MonkeyPatch) -> object:
    """This process taken for the scheduler's, for one test."""
    monkeypatch.setattr(heartbeats, "_last_beat", -1e9)
    beat_init.send(sender=None)
    yield
    before_task_publish.disconnect(heartbeats._scheduler_alive)


def test_only_the_schedulers_jobs_are_its_sign() -> None:
    before_task_publish.send(sender="any.task")
    assert seconds_since()[SCHEDULER] is None


def test_publishing_is_the_sign_of_the_scheduler(scheduler: object) -> None:
    before_task_publish.send(sender="any.task")
    assert seconds_since()[SCHEDULER] is not None


def test_it_is_not_written_for_every_job(scheduler: object) -> None:
    before_task_publish.send(sender="any.task")
    put_back(SCHEDULER, 60)
    before_task_publish.send(sender="any.task")
    assert seconds_since()[SCHEDULER] == pytest.approx(60, abs=5)


def test_a_sign_from_the_future_is_none() -> None:
    """The clock was set back: what was written before proves nothing now."""
    note_alive(WORKER)
    put_back(WORKER, -3600)
    assert seconds_since()[WORKER] == pytest.approx(3600, abs=5)
