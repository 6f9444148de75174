"""What a rule is, and what rules know beside the submission."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from types import MappingProxyType
from uuid import UUID

from django.utils.functional import Promise

from surveys.models import Site
from surveys.outings.kits import KitState
from surveys.people.pairs import Readiness
from surveys.submission.types import Entry, Problem, Submission
from surveys.visits.positions import Landmark


class Severity(StrEnum):
    """An error stops the submission; a finding goes with the visit to a coordinator."""

    ERROR = "error"
    FINDING = "finding"


@dataclass(frozen=True)
class SiteHistory:
    """What earlier visits found: counts and scores of approved visits, readings of all but returned ones.

    `months` holds for each taxon the month (1-12) of every visit that found it, `visits_by_month` how many
    visits were made in each month; `scores` are those of `score_index`, the first index of the site's list.
    `commonplace` are taxa of which no rule has anything to say (found here in this part of the year before, and
    a tenth of this number or more): of those `most` and `months` may tell nothing.
    """

    approved_visits: int = 0
    most: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    months: Mapping[str, tuple[int, ...]] = field(default_factory=lambda: MappingProxyType({}))
    commonplace: frozenset[str] = frozenset()
    visits_by_month: Mapping[int, int] = field(default_factory=lambda: MappingProxyType({}))
    score_index: str = ""
    scores: tuple[float, ...] = ()
    readings: Mapping[str, tuple[float, ...]] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True)
class Context:
    """What the rules may know beside the submission, all of it read beforehand.

    `members` are the group's people that may be named; `same_day` the site's other visits of that day; `kit`
    the state of the kit that is said to have been used, None where the group has no such kit; `readiness` what
    those who went are trained for, and who of the group is under 18; `others` the places of the group's other
    sites, read only where a position is given.
    """

    site: Site
    today: date
    members: frozenset[UUID] = frozenset()
    same_day: int = 0
    history: SiteHistory = field(default_factory=SiteHistory)
    past_record: bool = False
    kit: KitState | None = None
    readiness: Readiness = field(default_factory=Readiness)
    others: tuple[Landmark, ...] = ()


# What a check yields: the field, and what to say of it.
Remarks = Iterable[tuple[str, str]]
Check = Callable[[Submission, Context], Remarks]


@dataclass(frozen=True)
class Rule:
    """One thing that is checked. Without a `check` it is applied while the submission is read."""

    id: str
    title: Promise
    explains: Promise
    severity: Severity
    source: Promise | str
    check: Check | None = None


@dataclass(frozen=True)
class Checked:
    """What the rules said."""

    errors: tuple[Problem, ...]
    findings: tuple[Problem, ...]


def line_key(entry: Entry) -> tuple[str, str, bool]:
    """What makes two lines of a count the same line: taxon, finer name if written, and the part of the tray."""
    return entry.taxon, entry.recorded_as.casefold(), entry.whole_tray
