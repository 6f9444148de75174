"""Loading a sheet as long work: all of its sound visits in one transaction, or none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change
from portal.jobs.kinds import JobProblem, Outcome, job_kind
from portal.jobs.models import Job
from portal.jobs.queries import starter_of
from portal.jobs.services import request_job
from portal.jobs.working import Progress
from surveys.importing.checking import CheckedSheet, Tell, check_sheet, loaded_before, say_nothing
from surveys.importing.reading import Sheet
from surveys.models import ImportRun
from surveys.past.contexts import Surroundings
from surveys.services.imports.keeping import check_run
from surveys.services.taking_in import Coming
from surveys.services.visits import submit_visits
from surveys.submission import Submission

KIND = "import"
# Some ten times as long as the longest sheet takes.
AT_MOST = timedelta(minutes=30)
# So many visits are taken in together: a second's work, after which the progress is told.
AT_ONCE = 150


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


def request_loading(*, person: Person, run: ImportRun, only_sound: bool = False) -> Job:
    """Order the loading of a kept sheet; `only_sound` leaves the visits with problems out."""
    require(person, "import.run", run)
    return request_job(
        person=person,
        group=run.group,
        kind=KIND,
        key=f"import {run.pk}",
        parameters={"run": str(run.pk), "only_sound": only_sound},
        label=_("Load %(name)s") % {"name": run.file_name},
        link=reverse("import_detail", args=[run.group.slug, run.pk]),
    )


@job_kind(KIND, label=gettext_lazy("Loading a spreadsheet"), at_most=AT_MOST)
def load_in_background(job: Job, progress: Progress) -> None:
    """The job: progress is told aside, because the visits come into being all at once or not at all."""
    person = starter_of(job)
    run = ImportRun.objects.of_group(job.group).select_related("group").filter(pk=job.parameters["run"]).first()
    if person is None or run is None:
        raise JobProblem(_("The sheet is kept no longer. Send it again."))
    only_sound = job.parameters["only_sound"]
    try:
        with transaction.atomic():
            loaded = load_run(
                person=person,
                run=run,
                only_sound=only_sound,
                checking=lambda done, total: progress.aside(done, total, _("Checking the visits")),
                loading=lambda done, total: progress.aside(done, total, _("Loading the visits")),
            )
            # In the same transaction: whoever stops the job stops all of it, or comes too late.
            progress.finish(Outcome(summary=told(loaded)))
    except SheetHasProblems as changed:
        raise JobProblem(_problems(changed.checked)) from changed


def told(loaded: Loaded) -> str:
    """What was loaded, in a sentence."""
    new = ngettext("%d visit was loaded.", "%d visits were loaded.", loaded.new) % loaded.new
    if not loaded.already_there:
        return new
    there = ngettext("%d was there already.", "%d were there already.", loaded.already_there)
    return f"{new} {there % loaded.already_there}"


def _problems(checked: CheckedSheet) -> str:
    number = len(checked.problems)
    words = ngettext(
        "Nothing was loaded: %d problem stands in the way.",
        "Nothing was loaded: %d problems stand in the way.",
        number,
    )
    first = checked.problems[0]
    return f"{words % number} {first.message}"


@transaction.atomic
def load_run(
    *,
    person: Person,
    run: ImportRun,
    only_sound: bool = False,
    checking: Tell = say_nothing,
    loading: Tell = say_nothing,
) -> Loaded:
    """Load a kept sheet whole; raises SheetHasProblems and loads nothing if anything is wrong with it.

    With `only_sound`, load all visits without a problem. A second call for the same run, as by a double click,
    loads nothing more.
    """
    require(person, "import.run", run)
    # The lock makes a second click wait until the first is done, and then see that it is.
    run = ImportRun.objects.of_group(run.group).select_for_update().get(pk=run.pk)
    if run.loaded_at:
        return Loaded(new=run.visits_loaded, already_there=0)
    # Checked again, because the group may have changed since somebody looked at the check.
    checked = check_run(person=person, run=run, tell=checking, only_errors=True)
    if checked.problems and not (only_sound and checked.submissions):
        raise SheetHasProblems(checked)
    loaded = _load(person, run, checked, loading)
    # Only once the visits are safe: until then the file is all there is. With visits left out it stays, so that
    # their rows can be fetched.
    if not checked.problems:
        _let_file_go(run)
    return loaded


def _let_file_go(run: ImportRun) -> None:
    storage, names = run.file.storage, [each.name for each in (run.file, run.to_mend) if each.name]
    # What the check showed of people and visits goes with the sheet, and the rows that it found to be mended.
    run.file, run.to_mend, run.report = "", "", None
    run.save(update_fields=["file", "to_mend", "report"])
    for name in names:
        transaction.on_commit(partial(storage.delete, name))


@transaction.atomic
def load_sheet(*, person: Person, group: Group, sheet: Sheet, file_name: str) -> Loaded:
    """Check and load a sheet in one go, as the command does; raises SheetHasProblems and then loads nothing."""
    require(person, "import.run", group)
    checked = check_sheet(group=group, sheet=sheet, only_errors=True)
    if checked.problems:
        raise SheetHasProblems(checked)
    run = ImportRun.objects.create(
        group=group, started_by_id=person.user_id, file_name=file_name[:200], rows_read=checked.rows_read
    )
    return _load(person, run, checked)


def _load(person: Person, run: ImportRun, checked: CheckedSheet, tell: Tell = say_nothing) -> Loaded:
    submissions = checked.submissions
    there = loaded_before(run.group, submissions)
    # What is there may have been loaded by another coordinator, for whom it would be a conflict to submit it.
    fresh = [each for each in submissions if each.id not in there]
    new = _submit(Coming(person, run, past_record=True), fresh, checked.surroundings, tell)
    run.visits_loaded, run.loaded_at, run.left_out = new, timezone.now(), checked.bad_visits
    run.save(update_fields=["visits_loaded", "loaded_at", "left_out"])
    record_change(actor=person, verb="import.loaded", thing=run, changes={"visits_loaded": [0, new]})
    return Loaded(new=new, already_there=len(submissions) - new)


def _submit(coming: Coming, fresh: Sequence[Submission], around: Surroundings, tell: Tell) -> int:
    new = 0
    for begun in range(0, len(fresh), AT_ONCE):
        tell(begun, len(fresh))
        receipts = submit_visits(coming, fresh[begun : begun + AT_ONCE], around)
        new += sum(each.is_new for each in receipts)
    return new
