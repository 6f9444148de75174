"""What a sheet's columns and cells mean: guessed from its header, said on a page, remembered."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal, get_args

from scoring.taxa import roll_up
from surveys.importing.columns import COLUMN_BY_NAME, header_name
from surveys.importing.raw import RawSheet, is_note
from surveys.importing.values import Order, guess_order, has_decimal_comma

Layout = Literal["taxon_rows", "visit_rows", "visit_columns"]
LAYOUTS: tuple[Layout, ...] = get_args(Layout)
# What a column may be besides one of the table: a taxon, with its counts below.
TAXON_COLUMN = "taxon_column"
MARKS = ("x", "present", "+", "p")
# As many names as tell a layout: one alone may be a word that happens to be a name.
_TELLING = 2
# What people call the columns of the table; common practice, no source.
_OTHER_NAMES: Mapping[str, tuple[str, ...]] = {
    "site": ("site_code", "site_name", "station", "location", "place", "reach"),
    "date": ("day", "visit_date", "sample_date", "sampling_date", "survey_date", "date_of_visit", "visited_on"),
    "taxon": ("taxa", "family", "group", "species", "name", "animal", "invertebrate"),
    "count": ("abundance", "number", "total", "n", "individuals", "how_many"),
    "recorder": ("sampler", "surveyor", "observer", "volunteer", "recorded_by"),
    "start": ("start_time", "time", "began"),
    "end": ("end_time", "finish"),
    "temperature_c": ("temperature", "temp", "water_temperature", "water_temp", "temp_c"),
    "conductivity_us_cm": ("conductivity", "ec"),
    "oxygen_mg_l": ("oxygen", "dissolved_oxygen", "do_mg_l"),
    "turbidity_ntu": ("turbidity",),
    "notes": ("note", "comment", "comments", "remarks"),
    "water_level": ("level",),
}
_BY_OTHER_NAME = {other: name for name, others in _OTHER_NAMES.items() for other in others}


@dataclass(frozen=True)
class Plan:
    """How a sheet is read.

    `columns` maps each name of its header to a column of the table, to TAXON_COLUMN or to "" (left out);
    `taxa` and `sites` map names as written to ours. `marks` are words for seen and not counted.
    """

    layout: Layout = "taxon_rows"
    columns: Mapping[str, str] = field(default_factory=dict)
    taxa: Mapping[str, str] = field(default_factory=dict)
    sites: Mapping[str, str] = field(default_factory=dict)
    date_order: Order = "dmy"
    decimal_comma: bool = False
    empty_is_none: bool = False
    marks: tuple[str, ...] = MARKS

    @property
    def needs(self) -> tuple[str, ...]:
        """Columns of the table that must be told for this layout."""
        return ("site", "date", "taxon", "count") if self.layout == "taxon_rows" else ("site", "date")

    @property
    def missing(self) -> tuple[str, ...]:
        """Those of them that no column of the sheet is."""
        told = set(self.columns.values())
        lacking = [name for name in self.needs if name not in told]
        if self.layout != "taxon_rows" and TAXON_COLUMN not in told:
            lacking.append(TAXON_COLUMN)
        return tuple(lacking)

    @property
    def twice(self) -> tuple[str, ...]:
        """Columns of the table that more than one column of the sheet is said to be."""
        told = [name for name in self.columns.values() if name and name != TAXON_COLUMN]
        return tuple(sorted({name for name in told if told.count(name) > 1}))

    @property
    def is_usable(self) -> bool:
        return not (self.missing or self.twice)

    def as_json(self) -> dict[str, Any]:
        """The plan as it is kept."""
        return asdict(self) | {"marks": list(self.marks)}

    @classmethod
    def of_json(cls, kept: Mapping[str, Any]) -> Plan:
        """The plan that was kept."""
        return cls(**{**kept, "marks": tuple(kept.get("marks", MARKS))})

    def seen(self, raw: RawSheet) -> RawSheet:
        """The sheet as this layout looks at it: visits going down."""
        return raw.turn() if self.layout == "visit_columns" else raw


def guess_plan(raw: RawSheet, layout: Layout | None = None) -> Plan:
    """What a sheet most likely means, in the layout given or the likeliest."""
    layout = layout or guess_layout(raw)
    seen = raw.turn() if layout == "visit_columns" else raw
    columns = {name: _guess_column(name, layout) for name in seen.header}
    _drop_repeats(columns)
    by_target = {target: name for name, target in columns.items()}
    days = seen.column(by_target["date"]) if "date" in by_target else ()
    readings = [name for name, target in columns.items() if is_reading(target)]
    return Plan(
        layout=layout,
        columns=columns,
        date_order=guess_order(days),
        decimal_comma=has_decimal_comma(cell for name in readings for cell in seen.column(name)),
    )


def guess_layout(raw: RawSheet) -> Layout:
    """Taxa across the top are visits by row; taxa down the first column and days along the top, by column."""
    if _taxa_among(raw.header) >= _TELLING:
        return "visit_rows"
    first = [row[0] for row in raw.lines]
    told = {_known_name(name) for name in raw.header}
    if _taxa_among(first) >= _TELLING and "date" in {_known_name(name) for name in first} - told:
        return "visit_columns"
    return "taxon_rows"


def _taxa_among(names: Iterable[str]) -> int:
    return sum(not _known_name(name) and roll_up(name) is not None for name in names)


def _known_name(name: str) -> str:
    plain = header_name(name)
    return plain if plain in COLUMN_BY_NAME else _BY_OTHER_NAME.get(plain, "")


def _guess_column(name: str, layout: Layout) -> str:
    known = _known_name(name)
    if known and not (layout != "taxon_rows" and known in ("taxon", "count")):
        return known
    is_taxon = layout != "taxon_rows" and not is_note(name) and roll_up(name) is not None
    return TAXON_COLUMN if is_taxon else ""


def _drop_repeats(columns: dict[str, str]) -> None:
    """Of two columns that might be the same one, the one that bears its very name stays."""
    for target in {each for each in columns.values() if each and each != TAXON_COLUMN}:
        names = [name for name, each in columns.items() if each == target]
        names.sort(key=lambda name: header_name(name) != target)
        for name in names[1:]:
            columns[name] = ""


def is_reading(target: str) -> bool:
    """Whether a column of the table holds figures that may have a decimal comma."""
    column = COLUMN_BY_NAME.get(target)
    return bool(column and (column.field.startswith("measurements.") or target.endswith("depth_cm")))


def is_plain(raw: RawSheet, plan: Plan) -> bool:
    """Whether the sheet is one row per taxon under our own names, so that nobody need be asked."""
    ours = all(header_name(name) in COLUMN_BY_NAME or is_note(name) for name in raw.header)
    return ours and plan.layout == "taxon_rows" and plan.is_usable


def signature(raw: RawSheet, layout: Layout) -> str:
    """What sheets of the same making have in common: the names of their header, whatever their order."""
    names = {header_name(name) for name in (raw.turn() if layout == "visit_columns" else raw).header}
    told = sorted(name for name in names if not is_note(name))
    by = "down" if layout == "visit_columns" else "across"
    return hashlib.sha256("\n".join([by, *told]).encode()).hexdigest()
