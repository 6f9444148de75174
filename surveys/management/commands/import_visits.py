"""Load past visits from a spreadsheet: `manage.py import_visits FILE --group SLUG [--dry-run] [--by EMAIL]`."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, CommandError

from portal.accounts.access import Person
from portal.accounts.models import Group, Role
from portal.accounts.queries import members_of, person_of
from surveys.exporting.darwin.reading import sheet_of_archive
from surveys.importing import CheckedSheet, Sheet, UnusableFile, check_sheet, read_sheet
from surveys.services.imports import SheetHasProblems, load_sheet

PROBLEMS, UNUSABLE = 1, 2


def refuse(message: str) -> NoReturn:
    raise CommandError(message, returncode=UNUSABLE)


class Command(BaseCommand):
    help = "Check a CSV or XLSX of past visits (one row per taxon per visit) and load it whole or not at all."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file",
            type=Path,
            help="CSV (UTF-8) or XLSX, or an archive (zip) of this portal; the README lists the columns.",
        )
        parser.add_argument("--group", required=True, help="Short name of the group, as in its addresses.")
        parser.add_argument("--dry-run", action="store_true", help="Only check; load nothing.")
        parser.add_argument(
            "--by",
            metavar="EMAIL",
            help="Coordinator who loads (and so cannot approve); the first one if left out.",
        )

    def handle(self, *, file: Path, group: str, dry_run: bool, by: str | None, **_options: Any) -> None:
        owner = Group.objects.filter(slug=group).first() or refuse(f"There is no group “{group}”.")
        person = coordinator(owner, by)
        sheet = read(file)
        checked = check_sheet(group=owner, sheet=sheet)
        self.report(checked)
        if not checked.problems and not dry_run:
            self.load(person, owner, sheet, file.name)

    def report(self, checked: CheckedSheet) -> None:
        """Print every problem, then what the sheet holds; stop with 1 if there were problems."""
        for each in checked.problems:
            place = f"row {each.row}, {each.column}" if each.column else f"row {each.row}"
            self.stdout.write(f"{place}: {each.message}")
        if checked.problems:
            count = len(checked.problems)
            raise CommandError(
                f"{count} problems in {checked.rows_read} rows: nothing was loaded.", returncode=PROBLEMS
            )
        self.stdout.write(
            f"{checked.rows_read} rows, {checked.new} new visits, {checked.already_there} loaded before, "
            f"{checked.findings} unusual entries to be looked at."
        )

    def load(self, person: Person, group: Group, sheet: Sheet, file_name: str) -> None:
        """Load what was checked."""
        try:
            loaded = load_sheet(person=person, group=group, sheet=sheet, file_name=file_name)
        except SheetHasProblems as changed:
            # Somebody changed the group between the check and the loading.
            self.report(changed.checked)
            raise
        self.stdout.write(f"Loaded {loaded.new} visits for {person.name}; another coordinator approves them.")


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


def read(path: Path) -> Sheet:
    """The sheet at that path."""
    try:
        with path.open("rb") as file:
            return sheet_of_archive(file) if path.suffix.lower() == ".zip" else read_sheet(file, path.name)
    except OSError as error:
        refuse(f"{path} cannot be opened: {error.strerror}.")
    except UnusableFile as unusable:
        refuse(f"{path}: {unusable}")
