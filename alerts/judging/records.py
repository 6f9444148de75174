"""What a site has on record by one index, read once for all parts of a page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from alerts.models import Verdict
from portal.accounts.prepared import prepared
from surveys.models import Site, Visit
from surveys.models.visits import Status
from surveys.queries import OF_POINT, HistoryPoint, history_point, history_rows
from surveys.visits.effort import is_standard, plan_of
from surveys.visits.parts import effort_of, with_effort

OF_VERDICT = ("verdict__outcome", "verdict__trigger__index")


@dataclass(frozen=True, slots=True)
class Judged:
    """What was said of a visit: the outcome, and the index of its trigger (None where it had none)."""

    outcome: str
    index: str | None

    @classmethod
    def of(cls, verdict: Verdict) -> Judged:
        """The same of a verdict that was read with its trigger."""
        return cls(verdict.outcome, verdict.trigger.index if verdict.trigger else None)


@dataclass(frozen=True)
class SiteRecord:
    """Every made visit of a site, oldest first, with its value of `index` (a key of METHODS); the verdicts."""

    site: Site
    index: str
    history: Sequence[HistoryPoint]
    verdicts: Mapping[UUID, Judged]

    @property
    def falls(self) -> set[UUID]:
        """Visits that were below the trigger of their day."""
        return {key for key, each in self.verdicts.items() if each.outcome == Verdict.Outcome.BELOW}

    @property
    def sound(self) -> list[HistoryPoint]:
        """The visits that can be compared with each other."""
        return [each for each in self.history if each.is_sound]

    def baseline(self, before: date | None = None) -> list[HistoryPoint]:
        """The visits that say what is normal at the site: sound ones, and none that was a known fall.

        Falls are left out, because else pollution becomes normal. With `before`, only visits earlier than that
        day.
        """
        falls = self.falls
        usual = [each for each in self.sound if each.visit_id not in falls]
        return [each for each in usual if before is None or each.when < before]


_read: ContextVar[dict[tuple[UUID, str], SiteRecord] | None] = ContextVar("_read", default=None)


@contextmanager
def records_read_once() -> Iterator[None]:
    """Inside, each site's record is read once, for all the e-mails of one answer to a verdict.

    Only for a block that changes no visit, score or verdict.
    """
    token = _read.set({})
    try:
        yield
    finally:
        _read.reset(token)


def site_record(site: Site, index: str) -> SiteRecord:
    """Read it (one query); what `records_read_once` has read already is taken from there."""
    read = _read.get()
    if read is None:
        return _read_record(site, index)
    if (site.pk, index) not in read:
        read[site.pk, index] = _read_record(site, index)
    return read[site.pk, index]


def has_baseline(site: Site, index: str, before: date, least: int) -> bool:
    """Whether at least so many visits before a day say what is normal (one query for a site visited for long).

    The latest ones nearly always answer it; all of them are read where those do not.
    """
    read = _read.get() or {}
    if (site.pk, index) not in read:
        latest = _latest(site.pk, index, before, 2 * least)
        sound = sum(is_standard(effort, plan_of(site)) for effort in map(effort_of, latest))
        if sound >= least or len(latest) < 2 * least:
            return sound >= least
    return len(site_record(site, index).baseline(before=before)) >= least


@prepared
def _latest(site: UUID, index: str, before: date, number: int) -> QuerySet[Visit, Any]:
    """The effort of the latest visits before a day that belong to a baseline if it was the standard one."""
    visits = Visit.objects.across_groups("of a site that was found in its group")
    approved = visits.filter(site=site, visited_on__lt=before, was_made=True, status=Status.APPROVED)
    scored = approved.filter(scores__index=index, scores__is_current=True, scores__value__isnull=False).exclude(
        verdict__outcome=Verdict.Outcome.BELOW
    )
    return with_effort(scored.order_by("-visited_on")[:number])


def _read_record(site: Site, index: str) -> SiteRecord:
    return _made_of(site, index, _rows(site.group_id, site.pk, index))


@prepared
def _rows(group: UUID, site: UUID, index: str) -> QuerySet[Any, Any]:
    return history_rows((group,), (site,), index).values_list(*OF_POINT, *OF_VERDICT)


def _made_of(site: Site, index: str, rows: Iterable[Sequence[Any]]) -> SiteRecord:
    history: list[HistoryPoint] = []
    verdicts: dict[UUID, Judged] = {}
    for *of_point, outcome, of_trigger in rows:
        history.append(history_point(of_point, site))
        if outcome is not None:
            verdicts[history[-1].visit_id] = Judged(outcome, of_trigger)
    return SiteRecord(site, index, history, verdicts)
