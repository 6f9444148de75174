"""Spreadsheets of visits: kept for a check, loaded whole or not at all, approved by somebody else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import PurePath
from typing import IO

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, allowed, require
from portal.accounts.models import Group
from portal.audit.services import record_change
from surveys.importing import CheckedSheet, Sheet, UnusableFile, check_sheet, loaded_before, read_sheet
from surveys.importing.queries import waiting_visits
from surveys.models import ImportRun
from surveys.services.review import approve_visit
from surveys.services.visits import submit_visit
from surveys.submission import Submission

# A sheet holds names: one that was checked and never loaded is not kept for good.
KEPT_DAYS = 7
# Loading takes about 2 ms a row, and somebody waits for the page; the command takes ten times as many.
ROWS_ON_A_PAGE = 10_000


class SheetHasProblems(ValueError):
    """A sheet with problems is not loaded; `checked` lists them."""

    def __init__(self, checked: CheckedSheet) -> None:
        super().__init__("The sheet cannot be loaded.")
        self.checked = checked


@dataclass(frozen=True)
class Loaded:
    """How many visits a sheet brought, and how many were there before and were left as they are."""

    new: int
    already_there: int


@dataclass(frozen=True)
class Approved:
    """How many visits of a run were approved, and how many still wait because this person took part in them."""

    approved: int
    left: int


def keep_sheet(*, person: Person, group: Group, file: IO[bytes], file_name: str) -> ImportRun:
    """Keep a sheet for its check and its loading; raises UnusableFile for one that cannot be read."""
    require(person, "import.run", group)
    # Read before anything is written: what cannot be read is never kept.
    sheet = read_sheet(file, file_name)
    if len(sheet.rows) > ROWS_ON_A_PAGE:
        message = _("The sheet has more than 10,000 rows. Split it, or ask whoever runs the portal to load it.")
        raise UnusableFile(message)
    _forget_old_sheets(group)
    run = ImportRun(
        group=group,
        started_by_id=person.user_id,
        file_name=PurePath(file_name).name[:200],
        rows_read=len(sheet.rows),
    )
    file.seek(0)
    # Named after the run, since the name it came with may be anything.
    ending = file_name.lower().rpartition(".")[2]
    run.file.save(f"{run.pk}.{ending}", ContentFile(file.read()), save=False)
    run.save()
    return run


def _forget_old_sheets(group: Group) -> None:
    day = timezone.now() - timedelta(days=KEPT_DAYS)
    for run in ImportRun.objects.of_group(group).filter(loaded_at=None, created_at__lt=day):
        run.file.delete(save=False)
        run.delete()


def check_run(*, person: Person, run: ImportRun) -> CheckedSheet:
    """Check a kept sheet against the group as it is now; nothing is written."""
    require(person, "import.run", run)
    return check_sheet(group=run.group, sheet=_sheet_of(run))


def _sheet_of(run: ImportRun) -> Sheet:
    with run.file.open("rb") as file:
        return read_sheet(file, run.file.name or "")


@transaction.atomic
def load_run(*, person: Person, run: ImportRun) -> Loaded:
    """Load a kept sheet whole; raises SheetHasProblems and loads nothing if anything is wrong with it.

    A second call for the same run, as by a double click, loads nothing more.
    """
    require(person, "import.run", run)
    # The lock makes a second click wait until the first is done, and then see that it is.
    run = ImportRun.objects.of_group(run.group).select_for_update().get(pk=run.pk)
    if run.loaded_at:
        return Loaded(new=run.visits_loaded, already_there=0)
    # Checked again, because the group may have changed since somebody looked at the check.
    checked = check_run(person=person, run=run)
    if checked.problems:
        raise SheetHasProblems(checked)
    loaded = _load(person, run, checked.submissions)
    # Only once the visits are safe: until then the file is all there is.
    transaction.on_commit(lambda: run.file.delete(save=False))
    return loaded


@transaction.atomic
def load_sheet(*, person: Person, group: Group, sheet: Sheet, file_name: str) -> Loaded:
    """Check and load a sheet in one go, as the command does; raises SheetHasProblems and then loads nothing."""
    require(person, "import.run", group)
    checked = check_sheet(group=group, sheet=sheet)
    if checked.problems:
        raise SheetHasProblems(checked)
    run = ImportRun.objects.create(
        group=group, started_by_id=person.user_id, file_name=file_name[:200], rows_read=checked.rows_read
    )
    return _load(person, run, checked.submissions)


def _load(person: Person, run: ImportRun, submissions: Sequence[Submission]) -> Loaded:
    there = loaded_before(run.group, submissions)
    # What is there may have been loaded by another coordinator, for whom it would be a conflict to submit it.
    fresh = [each for each in submissions if each.id not in there]
    receipts = [
        submit_visit(person=person, submission=each, import_run=run, past_record=True) for each in fresh
    ]
    new = sum(receipt.is_new for receipt in receipts)
    run.visits_loaded, run.loaded_at = new, timezone.now()
    run.save(update_fields=["visits_loaded", "loaded_at"])
    record_change(actor=person, verb="import.loaded", thing=run, changes={"visits_loaded": [0, new]})
    return Loaded(new=new, already_there=len(submissions) - new)


@transaction.atomic
def approve_run(*, person: Person, run: ImportRun, accept_findings_reason: str = "") -> Approved:
    """Approve the waiting visits of a run that this person took no part in, neither on the bank nor in loading.

    Raises NotPossible, and approves nothing, when findings are open and no reason is given for accepting them.
    """
    require(person, "visit.review", run)
    # Locked in one order, so that two approvers wait for each other; the second finds nothing waiting any more.
    visits = list(waiting_visits(run).select_for_update().order_by("id"))
    free = [visit for visit in visits if allowed(person, "visit.approve", visit)]
    for visit in free:
        approve_visit(person=person, visit=visit, accept_findings_reason=accept_findings_reason)
    return Approved(approved=len(free), left=len(visits) - len(free))
