"""The same two visits in each layout."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from portal.accounts.models import Group
from surveys.importing.checking import CheckedSheet, check_sheet
from surveys.importing.laying import LaidSheet, lay_out
from surveys.importing.plans import Plan, guess_plan
from surveys.importing.raw import RawSheet, read_raw
from tests.factories import days_ago

Lines = Sequence[Sequence[str]]
BY_TAXON: Lines = (
    ("Site code", "Day", "Family", "Abundance", "Water temp", "Sampler"),
    ("AB1", "3/5/2024", "Baetidae", "12", "11.5", "Vera Example"),
    ("AB1", "3/5/2024", "Elmidae", "x", "", ""),
    ("AB1", "13/6/2024", "Baetidae", "3", "14", ""),
)
BY_VISIT: Lines = (
    ("Station", "Date", "Sampler", "Temp", "Baetidae", "Elmidae", "Weather app"),
    ("AB1", "3/5/2024", "Vera Example", "11.5", "12", "x", "sunny"),
    ("AB1", "13/6/2024", "", "14", "3", "", ""),
)
SIDE_BY_SIDE: Lines = (
    ("Site", "AB1", "AB1"),
    ("Date", "3/5/2024", "13/6/2024"),
    ("Temp", "11.5", "14"),
    ("Baetidae", "12", "3"),
    ("Elmidae", "x", ""),
)


def content_of(lines: Lines) -> bytes:
    out = io.StringIO()
    csv.writer(out).writerows(lines)
    return out.getvalue().encode()


def raw_of(lines: Lines) -> RawSheet:
    return read_raw(io.BytesIO(content_of(lines)), "visits.csv")


def laid(lines: Lines, plan: Plan | None = None) -> LaidSheet:
    raw = raw_of(lines)
    return lay_out(raw, plan or guess_plan(raw), days_ago(0))


def checked(group: Group, lines: Lines, plan: Plan | None = None) -> CheckedSheet:
    return check_sheet(group=group, sheet=laid(lines, plan))
