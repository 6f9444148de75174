"""Files that may name somebody: what can be made anew goes, and is made anew without them."""

from __future__ import annotations

from functools import partial
from typing import Any
from uuid import UUID

from django.db import models, transaction
from django.db.models import Q, QuerySet

from portal.jobs.models import Job
from portal.privacy.kept import Held
from portal.public.models import OpenDataFile
from portal.reports.models import YearlyReport
from surveys.models import ImportRun, Photo
from surveys.services.photos import forget_photos

WHY = "somebody is erased from all of their groups"


def forget_files(groups: list[UUID]) -> None:
    """Files of exports, sheets, open data and drafts of reports of these groups; published reports stay."""
    _empty(Job.objects.across_groups(WHY).filter(group__in=groups), "file")
    runs = ImportRun.objects.across_groups(WHY).filter(group__in=groups)
    _empty(runs, "file")
    _empty(runs, "to_mend")
    data = OpenDataFile.objects.across_groups(WHY).filter(group__in=groups)
    _forget(data, "file")
    data.delete()
    reports = YearlyReport.objects.across_groups(WHY).filter(group__in=groups)
    drafts = reports.exclude(Q(state=YearlyReport.State.PUBLISHED) | Q(file=""))
    _forget(drafts, "file")
    # A draft without its pages is one that could not be made: its page offers to make it anew.
    drafts.update(file="", state=YearlyReport.State.FAILED, problem="", data={})


def forget_pictures_of(held: Held, rows: QuerySet[Any]) -> None:
    """A draft goes with its pictures."""
    if held.model == "surveys.Draft":
        numbers = list(rows.values_list("pk", flat=True))
        forget_photos(Photo.objects.across_groups(WHY).filter(visit_number__in=numbers))


def _empty(rows: QuerySet[Any], field: str) -> None:
    rows = rows.exclude(**{field: ""})
    _forget(rows, field)
    rows.update(**{field: ""})


def _forget(rows: QuerySet[Any], field: str) -> None:
    # After the commit, so that a rollback loses nothing.
    for row in rows:
        file: models.fields.files.FieldFile = getattr(row, field)
        if file:
            transaction.on_commit(partial(file.storage.delete, str(file.name)))
