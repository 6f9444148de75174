"""What an export is made of: a header, and records that each have a cell for every column."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from types import MappingProxyType
from typing import Any

Cell = str | int | float | bool | Decimal | date | time | datetime | None
NOTHING: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True)
class Record:
    """One row. `place` is longitude and latitude (WGS84, degrees); `more` is what only a map file carries."""

    cells: tuple[Cell, ...]
    place: tuple[float, float]
    number: str = ""
    more: Mapping[str, Any] = field(default_factory=lambda: NOTHING)


@dataclass(frozen=True)
class Table:
    """A table to be written once: its records are read from the database while they are written."""

    name: str
    header: tuple[str, ...]
    records: Iterator[Record]
