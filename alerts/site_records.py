"""What a site has on record by one index, read once for all parts of a page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from alerts.models import Verdict
from portal.accounts.prepared import prepared
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.effort import is_standard, plan_of
from surveys.models import Site, Visit
from surveys.models.visits import Status
from surveys.parts import effort_of, laid_out, with_effort
from surveys.queries import OF_POINT, HistoryPoint, history_point, history_rows

OF_VERDICT = ("verdict__outcome", "verdict__value", "verdict__trigger__index", "verdict__trigger__level")


@dataclass(frozen=True)
class SiteRecord:
    """Every made visit of a site, oldest first, with its value of `index` (a key of METHODS); the verdicts."""

    site: Site
    index: str
    history: Sequence[HistoryPoint]
    verdicts: Mapping[UUID, Verdict]

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
    return _made_of(site, index, laid_out(_rows(site, index)))


def _rows(site: Site, index: str) -> GroupOwnedQuerySet[Visit]:
    rows = history_rows([site], index).select_related("verdict__trigger")
    return rows.only(*OF_POINT, *OF_VERDICT)


def _made_of(site: Site, index: str, visits: Sequence[Visit]) -> SiteRecord:
    verdicts = {each.pk: each.verdict for each in visits if hasattr(each, "verdict")}
    return SiteRecord(site, index, [history_point(each, site) for each in visits], verdicts)
