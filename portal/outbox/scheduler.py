"""A scheduler that a clock set back does not silence."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from celery.beat import PersistentScheduler, ScheduleEntry

# Of two readings of one clock the later is never this far behind, unless somebody has set it.
SLACK = timedelta(seconds=2)


class SteadyScheduler(PersistentScheduler):
    """Celery's own waits until the clock has caught up with the last run, an hour for an hour set back."""

    def tick(self, *given: Any, **named: Any) -> float:
        """Run what is due; return the seconds until the next look."""
        if any(_ran_in_the_future(entry) for entry in self.schedule.values()):
            self._begin_anew()
        wait: float = super().tick(*given, **named)
        return wait

    def _begin_anew(self) -> None:
        for entry in self.schedule.values():
            entry.last_run_at = entry.default_now() - timedelta(days=1)
        self._heap = None


def _ran_in_the_future(entry: ScheduleEntry) -> bool:
    return entry.last_run_at is not None and entry.last_run_at > entry.default_now() + SLACK
