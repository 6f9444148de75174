"""Making an export in a test and reading it with a program that is not ours."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

from openpyxl import load_workbook

from surveys.exporting.services import Wish, make_export
from tests.conftest import Cast

Lines = list[dict[str, Any]]


def exported(
    cast: Cast, content: str, file_kind: str = "csv", choice: str = "", who: str = "coordinator"
) -> bytes:
    """The file that somebody of Alder Beck Watch gets."""
    wish = Wish(content, file_kind, choice)
    with make_export(person=cast.person(who), group=cast.group, wish=wish) as file:
        return file.read()


def csv_lines(content: bytes) -> Lines:
    """Rows of a CSV by column."""
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def xlsx_lines(content: bytes) -> Lines:
    """Rows of the first sheet by column, as a spreadsheet program holds them."""
    header, *rows = load_workbook(io.BytesIO(content)).worksheets[0].iter_rows(values_only=True)
    return [dict(zip(map(str, header), row, strict=True)) for row in rows]


def features(content: bytes) -> list[dict[str, Any]]:
    """The features of a map file."""
    found: list[dict[str, Any]] = json.loads(content)["features"]
    return found
