"""What a site has on record by one index, read once for all parts of a page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from alerts.models import Verdict
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Site, Visit
from surveys.parts import laid_out
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
        latest = _rows(site, index).filter(visited_on__lt=before).order_by("-visited_on")[: 2 * least]
        record = _made_of(site, index, laid_out(latest))
        is_all = len(record.history) < 2 * least
        if is_all or len(record.baseline()) >= least:
            return len(record.baseline()) >= least
    return len(site_record(site, index).baseline(before=before)) >= least


def _read_record(site: Site, index: str) -> SiteRecord:
    return _made_of(site, index, laid_out(_rows(site, index)))


def _rows(site: Site, index: str) -> GroupOwnedQuerySet[Visit]:
    rows = history_rows([site], index).select_related("verdict__trigger")
    return rows.only(*OF_POINT, *OF_VERDICT)


def _made_of(site: Site, index: str, visits: Sequence[Visit]) -> SiteRecord:
    verdicts = {each.pk: each.verdict for each in visits if hasattr(each, "verdict")}
    return SiteRecord(site, index, [history_point(each, site) for each in visits], verdicts)
