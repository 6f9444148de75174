"""Checking a whole sheet: every problem with its row and column, and the submissions it holds."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from uuid import UUID

from django.utils.translation import gettext as _

from portal.accounts.models import Group
from surveys.importing.building import build_draft
from surveys.importing.columns import COLUMN_BY_NAME, quantities_in
from surveys.importing.drafting import Draft
from surveys.importing.grouping import RowProblem, VisitRows, group_rows
from surveys.importing.known import Differing, differing_visits, numbers_given
from surveys.importing.people import Members
from surveys.importing.reading import Sheet
from surveys.models import Site, Visit
from surveys.past.contexts import Surroundings, context_for, surroundings_of
from surveys.rules import Context, errors_in, findings_in
from surveys.submission import InvalidSubmission, Problem, Submission, parse_submission

Tell = Callable[[int, int], None]
Key = tuple[str, str, str]


def say_nothing(_done: int, _total: int) -> None:
    """For whoever needs no progress."""


@dataclass(frozen=True)
class CheckedSheet:
    """What a check found: problems in the order of the rows, visits to load, and how many are there already.

    `submissions` are the visits without a problem; `bad_rows` maps each row of the others, by its number in
    the checked sheet, to what is wrong with that row. `differing` are those there already
    that say something else. `findings` counts what is unusual but possible: it goes with the visits to whoever
    approves them. `surroundings` are what the new visits were held against.
    """

    rows_read: int
    problems: tuple[RowProblem, ...]
    submissions: tuple[Submission, ...]
    already_there: int
    findings: int
    surroundings: Surroundings
    bad_rows: Mapping[int, tuple[RowProblem, ...]] = field(default_factory=dict)
    bad_visits: int = 0
    differing: tuple[Differing, ...] = ()

    @property
    def new(self) -> int:
        """How many visits would be loaded."""
        return len(self.submissions) - self.already_there


@dataclass
class _Check:
    """A check under way: what is known of the group, and what was found so far."""

    group: Group
    sites: Mapping[str, Site]
    members: Members
    numbers: Mapping[Key, UUID]
    there: set[UUID]
    surroundings: Surroundings
    only_errors: bool = False
    problems: list[RowProblem] = field(default_factory=list)
    submissions: list[Submission] = field(default_factory=list)
    findings: int = 0
    bad_rows: dict[int, list[RowProblem]] = field(default_factory=dict)
    bad_visits: int = 0
    seen: set[UUID] = field(default_factory=set)

    def take(self, visit: VisitRows) -> None:
        """Read and judge one visit; one with a problem is kept apart with all of its rows."""
        known, sound, unusual = len(self.problems), len(self.submissions), self.findings
        self._read(visit)
        if len(self.problems) == known:
            return
        del self.submissions[sound:]
        self.findings = unusual
        self.bad_visits += 1
        for row in visit.rows:
            self.bad_rows.setdefault(row.number, [])
        self.blame(self.problems[known:])

    def blame(self, problems: Iterable[RowProblem]) -> None:
        """Remember rows by what is wrong with them."""
        for each in problems:
            self.bad_rows.setdefault(each.row, []).append(each)

    def _read(self, visit: VisitRows) -> None:
        site = self.sites.get(visit.key[0])
        if site is None:
            self.problems.append(RowProblem(visit.first_row, "site", self._unknown_site(visit)))
            return
        number = self.numbers[visit.key]
        draft = build_draft(visit, site, number, self.members)
        if number in self.seen:
            draft.refuse(visit.first_row, "visit", _("This number stands for another visit of the sheet too."))
        self.problems += draft.problems
        self.seen.add(number)
        try:
            submission = parse_submission(draft.data)
        except InvalidSubmission as invalid:
            self._refuse(draft, visit, invalid.problems)
        else:
            self._judge(draft, visit, submission, site)

    def _judge(self, draft: Draft, visit: VisitRows, submission: Submission, site: Site) -> None:
        context = self._context(submission, site)
        # What was left out of the counts for its own problem must not look like a count never made.
        errors = [
            each for each in errors_in(submission, context) if each.field != "counts" or not draft.problems
        ]
        self._refuse(draft, visit, errors)
        self.findings += 0 if self.only_errors else len(findings_in(submission, context))
        self.submissions.append(submission)

    def _context(self, submission: Submission, site: Site) -> Context:
        # What is here already is held against all visits but itself, and so has a past of its own.
        if submission.id in self.there:
            return context_for(submission, site, past_record=True)
        return self.surroundings.context(submission, site)

    def _refuse(self, draft: Draft, visit: VisitRows, problems: Iterable[Problem]) -> None:
        for each in problems:
            row, column = draft.place(each.field, visit.first_row)
            # A count's cell is remembered for its amount; that the name is unknown concerns the name.
            column = "taxon" if each.rule == "unknown_taxon" else column
            self.problems.append(RowProblem(row, column, each.message))

    def _unknown_site(self, visit: VisitRows) -> str:
        message = _("The group has no site “%(code)s”. Its codes are: %(codes)s.")
        codes = ", ".join(site.code for site in self.sites.values()) or _("none yet")
        return message % {"code": visit.rows[0].cells["site"], "codes": codes}


def check_sheet(
    *, group: Group, sheet: Sheet, tell: Tell = say_nothing, only_errors: bool = False
) -> CheckedSheet:
    """Check every row against everything a submission is checked against; nothing is written.

    `tell` hears after each visit how many are checked, of how many. With `only_errors` findings are not
    counted: they are found when the visits are taken in.
    """
    visits, problems = group_rows(sheet.rows)
    check = _begin(group, sheet, visits)
    check.only_errors = only_errors
    check.problems += [*_header_problems(sheet), *problems]
    check.blame(problems)
    for number, visit in enumerate(visits):
        tell(number, len(visits))
        check.take(visit)
    there = check.there & {each.id for each in check.submissions}
    return CheckedSheet(
        rows_read=len(sheet.rows),
        problems=_in_order(sheet, check.problems),
        submissions=tuple(check.submissions),
        already_there=len(there),
        findings=check.findings,
        surroundings=check.surroundings,
        bad_rows={row: _in_order(sheet, found) for row, found in check.bad_rows.items()},
        bad_visits=check.bad_visits,
        differing=tuple(differing_visits(group, (each for each in check.submissions if each.id in there))),
    )


def _begin(group: Group, sheet: Sheet, visits: Sequence[VisitRows]) -> _Check:
    """All that the visits are held against, read once."""
    rows = Site.objects.of_group(group).select_related("group", "recording_list")
    sites = {site.code.casefold(): site for site in rows}
    asked = {visit.key[0]: sites[visit.key[0]] for visit in visits if visit.key[0] in sites}
    numbers = _numbers(group, visits, asked)
    return _Check(
        group=group,
        sites=sites,
        members=Members(group),
        numbers=numbers,
        there=_there(group, numbers.values()),
        surroundings=surroundings_of(group, asked.values(), quantities=quantities_in(sheet.header)),
    )


def _numbers(group: Group, visits: Sequence[VisitRows], sites: Mapping[str, Site]) -> dict[Key, UUID]:
    """The number that each visit has in this group, where the sheet gives it; else one that it always gets."""
    given = numbers_given(group, visits)
    known = ((visit, sites[visit.key[0]]) for visit in visits if visit.key[0] in sites)
    return {visit.key: given.get(visit.key[2]) or visit.number(group.pk, site.code) for visit, site in known}


def _in_order(sheet: Sheet, problems: Iterable[RowProblem]) -> tuple[RowProblem, ...]:
    """Problems by row at their own cells; what concerns a line of many counts is said once."""
    placed = (_placed(sheet, each) for each in sorted(problems, key=lambda each: each.row))
    return tuple(dict.fromkeys(placed))


def _placed(sheet: Sheet, problem: RowProblem) -> RowProblem:
    """The problem at the cell of the sheet as it came."""
    place = sheet.place(problem.row, problem.column)
    return replace(problem, row=place.row, column=place.column, cell=place.cell, value=place.value)


def _header_problems(sheet: Sheet) -> list[RowProblem]:
    message = _("This column is none of ours. Rename it as in the table of columns, or take it out.")
    return [RowProblem(1, name, message) for name in sheet.header if name and name not in COLUMN_BY_NAME]


def loaded_before(group: Group, submissions: Iterable[Submission]) -> set[UUID]:
    """Numbers of the submissions that the group has as visits already, whoever loaded them."""
    return _there(group, [each.id for each in submissions])


def _there(group: Group, numbers: Iterable[UUID]) -> set[UUID]:
    return set(Visit.objects.of_group(group).filter(id__in=list(numbers)).values_list("id", flat=True))
