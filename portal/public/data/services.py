"""Making the files of open data."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import partial
from typing import IO

from django.core.files.base import File
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.accounts.walls import wide, within
from portal.audit.services import record_change
from portal.jobs.models import Job
from portal.jobs.services import request_job
from portal.public.data.queries import out_of_date, stamp
from portal.public.data.tables import results_table, taxa_table
from portal.public.models import FileName as Name
from portal.public.models import OpenDataFile
from surveys.errors import NotPossible
from surveys.exporting.darwin.archive import write_archive
from surveys.exporting.darwin.dataset import Dataset
from surveys.exporting.services import dataset_of
from surveys.exporting.writing import write_csv

Tell = Callable[[int], None]
KIND = "open_data"
_IN_MEMORY = 5 * 1024 * 1024


def request_open_data(*, person: Person | None, group: Group) -> Job:
    """Order the group's files, or get the order that is under way. None is the portal itself.

    Raises NotPossible for a group that does not publish or has chosen no licence.
    """
    if person:
        require(person, "archive.make", group)
    if not group.is_public:
        raise NotPossible(
            _("Make the approved results public first, in the settings of the group."), "is_public"
        )
    dataset_of(group)
    label = _("Files of open data for the public page")
    return request_job(person=person, group=group, kind=KIND, parameters={}, label=label, key=KIND)


@wide("every group that publishes")
def request_what_is_due() -> int:
    """Order the files of every group that changed since; how many were ordered."""
    groups = list(out_of_date())
    for group in groups:
        with within(group.pk):
            request_open_data(person=None, group=group)
    return len(groups)


def make_open_data(group: Group, tell: Tell) -> int:
    """Make all files and keep those whose records changed; the number of visits in them."""
    begun = timezone.now()
    dataset = dataset_of(group)
    with (
        tempfile.SpooledTemporaryFile(_IN_MEMORY) as results,
        tempfile.SpooledTemporaryFile(_IN_MEMORY) as taxa,
    ):
        rows = {
            Name.RESULTS: write_csv(results_table(dataset), results, tell),
            Name.TAXA: write_csv(taxa_table(dataset), taxa, tell),
        }
        version = _fingerprint(stamp(group, dataset.terms), results, taxa)
        if not _is_kept(group, version, begun):
            with tempfile.SpooledTemporaryFile(_IN_MEMORY) as archive:
                rows[Name.ARCHIVE] = write_archive(dataset, Q(), archive, tell)
                made = {Name.RESULTS: results, Name.TAXA: taxa, Name.ARCHIVE: archive}
                _keep(dataset, made, rows, version, begun)
    return rows[Name.RESULTS]


def _fingerprint(terms: str, *files: IO[bytes]) -> str:
    whole = hashlib.sha256(terms.encode())
    for file in files:
        file.seek(0)
        while block := file.read(1024 * 1024):
            whole.update(block)
    return whole.hexdigest()


def _is_kept(group: Group, version: str, begun: datetime) -> bool:
    """Whether all files say the same already; then they are only marked as looked at."""
    same = OpenDataFile.objects.of_group(group).filter(version=version)
    return same.update(checked_at=begun) == len(Name)


@transaction.atomic
def _keep(
    dataset: Dataset, made: Mapping[Name, IO[bytes]], rows: Mapping[Name, int], version: str, begun: datetime
) -> None:
    group = dataset.group
    for name, file in made.items():
        kept = OpenDataFile.objects.of_group(group).filter(name=name).first()
        kept = kept or OpenDataFile(group=group, name=name)
        old = kept.file.name
        kept.size, kept.rows = file.seek(0, 2), rows[name]
        kept.terms, kept.version = stamp(group, dataset.terms), version
        kept.made_at = kept.checked_at = begun
        file.seek(0)
        kept.file.save(f"{group.pk}-{version[:12]}-{name}", File(file), save=False)
        kept.save()
        if old:
            transaction.on_commit(partial(kept.file.storage.delete, old))
        changes = {"version": ["", version[:12]], "rows": [0, kept.rows]}
        record_change(actor=None, verb="open_data.made", thing=kept, changes=changes)
