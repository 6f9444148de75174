"""Load past visits from a sheet: `manage.py import_visits FILE --group SLUG [--mapping NAME | --layout L]`."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from portal.accounts.access import Person
from portal.accounts.models import Group, Role
from portal.accounts.queries import members_of, person_of
from surveys.exporting.darwin.reading import sheet_of_archive
from surveys.histories import label_of
from surveys.importing import CheckedSheet, RowProblem, Sheet, UnusableFile, check_sheet, read_sheet
from surveys.importing.laying import lay_out
from surveys.importing.plans import LAYOUTS, Layout, Plan, guess_plan
from surveys.importing.raw import RawSheet, read_raw
from surveys.importing.remembering import mapping_names, named_plan, remembered_plan
from surveys.services.imports import SheetHasProblems, load_sheet

PROBLEMS, UNUSABLE = 1, 2


def refuse(message: str) -> NoReturn:
    raise CommandError(message, returncode=UNUSABLE)


class Command(BaseCommand):
    help = (
        "Check a CSV or XLSX of past visits and load it whole or not at all. A sheet whose header somebody has "
        "explained on the page is read in that way; else its columns are ours, or as --mapping or --layout say."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file",
            type=Path,
            help="CSV or XLSX as surveys/importing/COLUMNS.md says, or an archive (zip) of this portal.",
        )
        parser.add_argument("--group", required=True, help="Short name of the group, as in its addresses.")
        parser.add_argument("--dry-run", action="store_true", help="Only check; load nothing.")
        parser.add_argument(
            "--by",
            metavar="EMAIL",
            help="Coordinator who loads (and so cannot approve); the first one if left out.",
        )

        how = parser.add_mutually_exclusive_group()
        how.add_argument(
            "--mapping", metavar="NAME", help="Mapping said on the page, by the name of its sheet."
        )
        how.add_argument(
            "--layout", choices=LAYOUTS, help="How the sheet lies; what its columns mean is guessed."
        )

    def handle(self, *, file: Path, group: str, dry_run: bool, by: str | None, **options: Any) -> None:
        owner = Group.objects.filter(slug=group).first() or refuse(f"There is no group “{group}”.")
        person = coordinator(owner, by)
        sheet = read(file, owner, options["mapping"] or "", options["layout"])
        checked = check_sheet(group=owner, sheet=sheet)
        self.report(checked)
        if not checked.problems and not dry_run:
            self.load(person, owner, sheet, file.name)

    def report(self, checked: CheckedSheet) -> None:
        """Print every problem, then what the sheet holds; stop with 1 if there were problems."""
        for each in checked.problems:
            self.stdout.write(f"{place_of(each)}: {each.message}")
        if checked.problems:
            count = many(len(checked.problems), "problem", "problems")
            raise CommandError(
                f"{count} in {many(checked.rows_read, 'row', 'rows')}: nothing was loaded.", returncode=PROBLEMS
            )
        self.stdout.write(
            f"{many(checked.rows_read, 'row', 'rows')}, {many(checked.new, 'new visit', 'new visits')}, "
            f"{checked.already_there} loaded before, "
            f"{many(checked.findings, 'unusual entry', 'unusual entries')} to be looked at."
        )
        for visit in checked.differing:
            fields = ", ".join(label_of(path) for path in visit.fields)
            self.stdout.write(
                f"Here already but different: {visit.site} on {visit.day} ({fields}); left as it is."
            )

    def load(self, person: Person, group: Group, sheet: Sheet, file_name: str) -> None:
        """Load what was checked."""
        try:
            loaded = load_sheet(person=person, group=group, sheet=sheet, file_name=file_name)
        except SheetHasProblems as changed:
            # Somebody changed the group between the check and the loading.
            self.report(changed.checked)
            raise
        if not loaded.new:
            self.stdout.write("Nothing is new, so nothing was loaded.")
            return
        visits = many(loaded.new, "visit", "visits")
        self.stdout.write(f"Loaded {visits} for {person.name}; another coordinator approves what was loaded.")


def many(number: int, one: str, more: str) -> str:
    """So many of a thing: "1 row", "2 rows"."""
    return f"{number} {one if number == 1 else more}"


def coordinator(group: Group, email: str | None) -> Person:
    """Who loads: the coordinator of that address, or the group's first."""
    found = members_of(group).filter(role=Role.COORDINATOR)
    if email:
        found = found.filter(user__email__iexact=email)
    # The first to join is the same at every run; whoever it is leaves the approval to the others.
    membership = found.order_by("joined_at").first()
    if membership is None:
        whom = f"coordinator with the address {email}" if email else "coordinator"
        refuse(f"The group {group.slug} has no {whom}.")
    return person_of(membership.user)


def place_of(problem: RowProblem) -> str:
    """Row, column, and where it is known the cell with what stands there."""
    place = f"row {problem.row}, {problem.column}" if problem.column else f"row {problem.row}"
    return f"{place} ({problem.cell}: “{problem.value}”)" if problem.cell else place


def read(path: Path, group: Group, mapping: str, layout: Layout | None) -> Sheet:
    """The sheet at that path: by the mapping or layout named, by that of its header, or as our own."""
    try:
        with path.open("rb") as file:
            if path.suffix.lower() == ".zip":
                return sheet_of_archive(file)
            raw = read_raw(file, path.name)
            plan = plan_for(group, raw, mapping, layout)
            if plan:
                return lay_out(raw, plan, timezone.localdate())
            file.seek(0)
            return read_sheet(file, path.name)
    except OSError as error:
        refuse(f"{path} cannot be opened: {error.strerror}.")
    except UnusableFile as unusable:
        refuse(f"{path}: {unusable}")


def plan_for(group: Group, raw: RawSheet, mapping: str, layout: Layout | None) -> Plan | None:
    """What the sheet means as far as anybody said so; None where its columns must be ours."""
    if layout:
        return guess_plan(raw, layout)
    if not mapping:
        return remembered_plan(group, raw)
    known = ", ".join(f"“{name}”" for name in mapping_names(group)) or "none yet"
    return named_plan(group, raw, mapping) or refuse(
        f"The group {group.slug} has no mapping “{mapping}”; it has: {known}."
    )
