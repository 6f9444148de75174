"""Sheets for the tests, written as short as can be."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping

from surveys.importing import CheckedSheet, RowProblem, Sheet, check_sheet, read_sheet
from tests.conftest import Cast

USUAL = {"site": "AB1", "date": "2024-05-03", "taxon": "Baetidae", "count": "12"}


def csv_of(rows: Iterable[Mapping[str, str]]) -> bytes:
    """A CSV of those rows, each filled up from the usual one."""
    filled = [{**USUAL, **row} for row in rows]
    names = list(dict.fromkeys(name for row in filled for name in row))
    out = io.StringIO()
    writer = csv.DictWriter(out, names, restval="")
    writer.writeheader()
    writer.writerows(filled)
    return out.getvalue().encode()


def sheet_of(*rows: Mapping[str, str]) -> Sheet:
    """The same, already read."""
    return read_sheet(io.BytesIO(csv_of(rows)), "visits.csv")


def checked(cast: Cast, *rows: Mapping[str, str]) -> CheckedSheet:
    """The same, checked for Alder Beck Watch."""
    return check_sheet(group=cast.group, sheet=sheet_of(*rows))


def problems(cast: Cast, *rows: Mapping[str, str]) -> tuple[RowProblem, ...]:
    """What is wrong with those rows; the first one is row 2."""
    return checked(cast, *rows).problems


def only_problem(cast: Cast, *rows: Mapping[str, str]) -> RowProblem:
    """The one thing that is wrong with those rows."""
    (found,) = problems(cast, *rows)
    return found
