"""The scheduler after somebody has set the clock."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
import time_machine
from celery.beat import PersistentScheduler, ScheduleEntry
from django.conf import settings
from django.utils import timezone

from portal.celery import app
from portal.outbox.scheduler import SteadyScheduler


class Noting(PersistentScheduler):
    """Celery's own, noting what it would publish."""

    ran: list[str]

    def apply_async(self, entry: ScheduleEntry, *_given: object, **_named: object) -> None:
        self.ran.append(str(entry.name))


class Steady(SteadyScheduler, Noting): ...


class Plain(Noting): ...


def make(kind: type[Noting], folder: Path) -> Noting:
    made = kind(app=app, schedule_filename=str(folder / "beat"))
    made.ran = []
    return made


@pytest.fixture
def jobs() -> set[str]:
    """Those that come at least every minute: an hourly one may well wait out a clock set back by an hour."""
    seconds = {name: float(str(each["schedule"])) for name, each in settings.CELERY_BEAT_SCHEDULE.items()}
    return {name for name, every in seconds.items() if every <= 60}


def run(scheduler: Noting) -> set[str]:
    """Tick until nothing is due; the names of what ran."""
    scheduler.ran = []
    for _ in range(30):
        if scheduler.tick() > 0:
            break
    return set(scheduler.ran)


def test_the_portal_uses_it() -> None:
    assert app.conf.beat_scheduler == "portal.outbox.scheduler:SteadyScheduler"


@pytest.mark.parametrize(("kind", "runs"), [(Steady, True), (Plain, False)])
def test_a_clock_set_back_by_an_hour_silences_no_job(
    tmp_path: Path, jobs: set[str], kind: type[Noting], runs: bool
) -> None:
    scheduler, now = make(kind, tmp_path), timezone.now()
    with time_machine.travel(now + timedelta(hours=1), tick=False):
        run(scheduler)
    with time_machine.travel(now + timedelta(hours=1, seconds=90), tick=False):
        assert jobs <= run(scheduler)
    with time_machine.travel(now, tick=False):
        run(scheduler)
    with time_machine.travel(now + timedelta(seconds=90), tick=False):
        assert (jobs <= run(scheduler)) is runs
    scheduler.close()


def test_it_runs_once_after_a_clock_set_ahead(tmp_path: Path, jobs: set[str]) -> None:
    scheduler, now = make(Steady, tmp_path), timezone.now()
    with time_machine.travel(now, tick=False):
        run(scheduler)
    with time_machine.travel(now + timedelta(days=1), tick=False):
        assert jobs <= run(scheduler)
        assert sorted(scheduler.ran) == sorted(set(scheduler.ran))
        assert run(scheduler) == set()
    scheduler.close()


def test_it_keeps_to_its_intervals_otherwise(tmp_path: Path) -> None:
    scheduler, now = make(Steady, tmp_path), timezone.now() + timedelta(days=1)
    with time_machine.travel(now, tick=False):
        run(scheduler)
        assert run(scheduler) == set()
    with time_machine.travel(now + timedelta(seconds=11), tick=False):
        assert run(scheduler) == {"deliver-owed-messages"}
    scheduler.close()
