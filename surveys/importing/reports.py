"""What the check of a sheet found, as plain data: made once by the job, kept, shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from portal.accounts.models import Group
from surveys.importing.checking import CheckedSheet
from surveys.importing.decoding import ReadAs
from surveys.importing.grouping import RowProblem
from surveys.importing.known import Differing
from surveys.importing.laying import LaidSheet
from surveys.importing.previewing import Preview, preview_of
from surveys.importing.understanding import Understood, understood
from surveys.measuring.quantities import QUANTITIES
from surveys.submission.fields import range_text
from surveys.submission.types import Entry, Reading

# A page lists the first problems; the rest usually repeats them, and the list stays readable on a phone.
PROBLEMS_SHOWN = 200
DIFFERING_SHOWN = 50


@dataclass(frozen=True)
class Shown:
    """One of the first visits as it would be stored; an amount that is empty means present, not counted."""

    site: str
    site_name: str
    day: str
    recorder: str
    was_made: bool
    counts: tuple[tuple[str, str], ...]
    readings: tuple[str, ...]
    scores: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Report:
    """The result of a check; `problems` are the first of `problem_count`, `differing` of `differing_count`."""

    rows_read: int
    new: int
    already_there: int
    findings: int
    bad_visits: int
    problem_count: int
    problems: tuple[RowProblem, ...]
    differing_count: int
    differing: tuple[Differing, ...]
    preview: tuple[Shown, ...]
    understood: Understood

    @property
    def unchanged(self) -> int:
        """How many visits are here already and say the same."""
        return self.already_there - self.differing_count

    def as_json(self) -> dict[str, Any]:
        """The report as it is kept."""
        return asdict(self)

    @classmethod
    def of_json(cls, kept: Mapping[str, Any]) -> Report:
        """The report that was kept."""
        lists = {
            "problems": tuple(RowProblem(**each) for each in kept["problems"]),
            "differing": tuple(Differing(**each) for each in kept["differing"]),
            "preview": tuple(Shown(**each) for each in kept["preview"]),
        }
        read = kept["understood"]
        told = Understood(**{**read, "read_as": ReadAs(**read["read_as"])})
        return cls(**{**kept, **lists, "understood": told})


def report_of(group: Group, sheet: LaidSheet, checked: CheckedSheet) -> Report:
    """The report of a check just made."""
    return Report(
        rows_read=checked.rows_read,
        new=checked.new,
        already_there=checked.already_there,
        findings=checked.findings,
        bad_visits=checked.bad_visits,
        problem_count=len(checked.problems),
        problems=checked.problems[:PROBLEMS_SHOWN],
        differing_count=len(checked.differing),
        differing=checked.differing[:DIFFERING_SHOWN],
        preview=tuple(_shown(each) for each in preview_of(group, checked)),
        understood=understood(sheet),
    )


def _shown(each: Preview) -> Shown:
    said = each.submission
    return Shown(
        site=each.site.code,
        site_name=each.site.name,
        day=said.visited_on.isoformat(),
        recorder=each.recorder,
        was_made=said.was_made,
        counts=tuple((entry.name, _amount(entry)) for entry in each.entries),
        readings=tuple(map(_reading, said.measurements)),
        scores=each.scores,
    )


def _reading(reading: Reading) -> str:
    label = str(QUANTITIES[reading.quantity].label)
    # The acidity's unit is its name.
    unit = "" if reading.unit.casefold() == label.casefold() else f"\N{NO-BREAK SPACE}{reading.unit}"
    return f"{label} {reading.as_typed}{unit}"


def _amount(entry: Entry) -> str:
    if entry.count is not None:
        return str(entry.count)
    return range_text(entry.low, entry.high) if entry.low else ""
