"""An archive of ours read back as an import sheet.

Lost on the way: visits that were not made or not approved, notes and signs of pollution, kit and checklist,
kicks timed by a phone, names that nobody agreed to, and which names were worked out with the key.
"""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import IO

from django.utils.translation import gettext as _

from surveys.exporting.darwin.facts import column_of
from surveys.exporting.darwin.layout import EVENTS, FILES, File
from surveys.importing.reading import MOST_ROWS, Row, Sheet, UnusableFile

Cells = dict[str, str]
_SITE = "siteCode"
# Facts take a line each, so that an archive is larger than the sheet of the same visits.
MOST_BYTES_UNPACKED = 300 * 1024 * 1024


def sheet_of_archive(file: IO[bytes]) -> Sheet:
    """Events, occurrences and facts as rows of an import, one for each occurrence; raises UnusableFile."""
    try:
        with zipfile.ZipFile(file) as packed:
            _check_size(packed)
            events, occurrences, facts = (list(_rows(packed, each)) for each in FILES)
    except (zipfile.BadZipFile, KeyError, UnicodeDecodeError, csv.Error) as error:
        raise UnusableFile(_("This is no Darwin Core Archive written by this portal.")) from error
    common = {event[EVENTS.terms[0]]: _event_cells(event) for event in events}
    for fact in facts:
        if column := column_of(fact["measurementType"]):
            common[fact["eventID"]][column] = fact["measurementValue"]
    return _as_sheet(common, occurrences)


def _check_size(packed: zipfile.ZipFile) -> None:
    if sum(each.file_size for each in packed.infolist()) > MOST_BYTES_UNPACKED:
        raise UnusableFile(_("The file unpacks to more than 300 MB."))


def _rows(packed: zipfile.ZipFile, file: File) -> Iterator[Mapping[str, str]]:
    text = io.StringIO(packed.read(file.name).decode("utf-8"), newline="\n")
    for row in csv.DictReader(text, dialect="excel-tab", quoting=csv.QUOTE_NONE):
        # A line that is cut short leaves None behind, and so names no known term.
        if set(row) != set(file.terms) or None in row.values():
            raise csv.Error("not the layout of ours")
        yield row


def _event_cells(event: Mapping[str, str]) -> Cells:
    try:
        site = str(json.loads(event["dynamicProperties"])[_SITE])
    except (ValueError, KeyError, TypeError) as error:
        raise UnusableFile(_("An event does not say at which site it was.")) from error
    clocks = [each[:5] for each in event["eventTime"].split("/")]
    cells = dict(zip(("start", "end"), clocks, strict=False))
    return {
        "site": site,
        "date": event["eventDate"],
        "visit": event["eventID"].removeprefix("urn:uuid:"),
        **cells,
    }


def _as_sheet(common: Mapping[str, Cells], occurrences: list[Mapping[str, str]]) -> Sheet:
    counted: dict[str, list[Cells]] = defaultdict(list)
    for each in occurrences:
        counted[each["eventID"]].append(_count_cells(each))
    lines = [{**cells, **count} for event, cells in common.items() for count in counted[event] or [{}]]
    if len(lines) > MOST_ROWS:
        raise UnusableFile(_("The archive has more than 100,000 occurrences."))
    rows = [
        Row(number, {name: cell for name, cell in line.items() if cell}) for number, line in enumerate(lines, 2)
    ]
    header = dict.fromkeys(name for row in rows for name in row.cells)
    return Sheet(tuple(header), tuple(rows))


def _count_cells(occurrence: Mapping[str, str]) -> Cells:
    people = occurrence["recordedBy"].split(" | ")
    return {
        "taxon": occurrence["verbatimIdentification"],
        "count": occurrence["organismQuantity"] or "present",
        "whole_tray": "yes" if "whole tray" in occurrence["occurrenceRemarks"] else "",
        **dict(zip(("recorder", "partner"), people, strict=False)),
    }
