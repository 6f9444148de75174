"""An archive as one zip file."""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from typing import IO

from django.db.models import Q
from django.utils import timezone

from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.exporting.darwin.dataset import Dataset
from surveys.exporting.darwin.events import event_row
from surveys.exporting.darwin.facts import fact_rows
from surveys.exporting.darwin.layout import EVENTS, FILES, MEASUREMENTS, OCCURRENCES, File, meta_xml
from surveys.exporting.darwin.metadata import eml_xml, extent_of
from surveys.exporting.darwin.occurrences import occurrence_rows
from surveys.exporting.people import Names
from surveys.exporting.queries import chosen_visits, in_chunks
from surveys.exporting.writing import STEP
from surveys.models import Visit
from surveys.models.visits import Status

# Kept in memory up to this size, then on disk.
_IN_MEMORY = 5 * 1024 * 1024
Outputs = Mapping[File, IO[bytes]]


def publishable(group: Group, chosen: Q) -> GroupOwnedQuerySet[Visit]:
    """The visits that an archive may hold: made, and approved."""
    return chosen_visits(group, chosen).filter(status=Status.APPROVED, was_made=True)


def write_archive(dataset: Dataset, chosen: Q, out: IO[bytes], progress: Callable[[int], None]) -> int:
    """Write the zip; returns how many events it holds."""
    visits = publishable(dataset.group, chosen)
    with ExitStack() as stack, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        # A zip is written one file after the other, the visits are read once: so all three grow side by side.
        parts = {file: stack.enter_context(tempfile.SpooledTemporaryFile(_IN_MEMORY)) for file in FILES}
        number = _write_rows(visits, dataset, parts, progress)
        packed.writestr("meta.xml", meta_xml())
        packed.writestr("eml.xml", eml_xml(dataset, extent_of(visits, dataset), timezone.localdate()))
        for file, part in parts.items():
            _pack(packed, file, part)
    return number


def _write_rows(
    visits: GroupOwnedQuerySet[Visit], dataset: Dataset, parts: Outputs, progress: Callable[[int], None]
) -> int:
    names, number = Names(dataset.group), 0
    for file, part in parts.items():
        part.write(file.header.encode())
    for number, visit in enumerate(in_chunks(visits), start=1):
        _write_visit(visit, dataset, names, parts)
        if number % STEP == 0:
            progress(number)
    return number


def _write_visit(visit: Visit, dataset: Dataset, names: Names, parts: Outputs) -> None:
    parts[EVENTS].write(EVENTS.line(event_row(visit, dataset)).encode())
    for row in occurrence_rows(visit, names):
        parts[OCCURRENCES].write(OCCURRENCES.line(row).encode())
    for row in fact_rows(visit):
        parts[MEASUREMENTS].write(MEASUREMENTS.line(row).encode())


def _pack(packed: zipfile.ZipFile, file: File, part: IO[bytes]) -> None:
    part.seek(0)
    with packed.open(file.name, "w", force_zip64=True) as target:
        while block := part.read(1024 * 1024):
            target.write(block)
