"""Keeping a sheet for its check: what its columns mean, what is wrong with it."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import PurePath
from typing import IO

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.accounts.walls import wide
from portal.audit.services import record_change
from surveys.importing.checking import CheckedSheet, Tell, check_sheet, say_nothing
from surveys.importing.laying import LaidSheet, lay_out
from surveys.importing.plans import Plan, guess_plan, is_plain, signature
from surveys.importing.raw import RawSheet, read_raw
from surveys.importing.remembering import first_plan, remembered_plan
from surveys.models import ImportMapping, ImportRun

# A sheet holds names: one that was checked and never loaded is not kept for good.
KEPT_DAYS = 7
# As much as is read while somebody waits for the page; the command takes more.
ROWS_ON_A_PAGE = 10_000


def keep_sheet(*, person: Person, group: Group, file: IO[bytes], file_name: str) -> ImportRun:
    """Keep a sheet for its check and its loading; raises UnusableFile for one that cannot be read.

    It is read as the group said of a sheet with the same header, or else by a guess, which `is_told` tells.
    """
    require(person, "import.run", group)
    # Read before anything is written: what cannot be read is never kept.
    raw = read_raw(file, file_name, ROWS_ON_A_PAGE)
    run = ImportRun(
        group=group,
        started_by_id=person.user_id,
        file_name=PurePath(file_name).name[:200],
        rows_read=sum(any(row) for row in raw.rows),
        plan=told_plan(group, raw),
    )
    file.seek(0)
    # Named after the run, since the name it came with may be anything.
    ending = file_name.lower().rpartition(".")[2]
    run.file.save(f"{run.pk}.{ending}", ContentFile(file.read()), save=False)
    run.save()
    return run


def told_plan(group: Group, raw: RawSheet) -> dict[str, object]:
    """The plan of a sheet that nobody need be asked about, else nothing."""
    known = remembered_plan(group, raw)
    if known:
        return known.as_json()
    guess = guess_plan(raw, "taxon_rows")
    return guess.as_json() if is_plain(raw, guess) else {}


@wide("the sweep clears away every group's old sheets")
def forget_old_sheets(now: datetime | None = None) -> int:
    """Remove sheets that nobody loaded for a week, and files kept for rows to mend; return how many went."""
    day = (now or timezone.now()) - timedelta(days=KEPT_DAYS)
    runs = ImportRun.objects.across_groups("the sweep clears away every group's old sheets")
    old = list(runs.filter(created_at__lt=day).exclude(file="", to_mend=""))
    for run in old:
        run.file.delete(save=False)
        run.to_mend.delete(save=False)
    runs.filter(pk__in=[run.pk for run in old], loaded_at=None).delete()
    runs.filter(pk__in=[run.pk for run in old]).update(file="", to_mend="")
    return len(old)


def raw_of(run: ImportRun) -> RawSheet:
    """The kept sheet as it came."""
    with run.file.open("rb") as file:
        return read_raw(file, run.file.name or "")


def plan_of(run: ImportRun, raw: RawSheet) -> Plan:
    """What the sheet's columns mean as far as it was said, else what they likely mean."""
    return Plan.of_json(run.plan) if run.plan else first_plan(run.group, raw)


@transaction.atomic
def map_columns(*, person: Person, run: ImportRun, raw: RawSheet, plan: Plan) -> None:
    """Say what a sheet means, for it and for the next one with the same header."""
    require(person, "import.run", run)
    run.plan, run.report, run.checked_at = plan.as_json(), None, None
    run.save(update_fields=["plan", "report", "checked_at"])
    told = {"plan": run.plan, "changed_by_id": person.user_id}
    mapping, _is_new = ImportMapping.objects.update_or_create(
        group=run.group,
        signature=signature(raw, plan.layout),
        defaults=told,
        create_defaults={**told, "name": run.file_name},
    )
    record_change(actor=person, verb="import.mapped", thing=mapping, changes={"layout": [None, plan.layout]})


def laid_out(run: ImportRun) -> LaidSheet:
    """The kept sheet, read by its plan; raises UnusableFile for one that nobody has explained."""
    raw = raw_of(run)
    return lay_out(raw, plan_of(run, raw), timezone.localdate())


def check_run(
    *, person: Person, run: ImportRun, tell: Tell = say_nothing, only_errors: bool = False
) -> CheckedSheet:
    """Check a kept sheet (`check_sheet`) against the group as it is now; nothing is written."""
    require(person, "import.run", run)
    return check_sheet(group=run.group, sheet=laid_out(run), tell=tell, only_errors=only_errors)
