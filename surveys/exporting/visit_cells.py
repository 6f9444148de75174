"""What a visit says, under the names of the columns that an import reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal

from surveys.exporting.people import Names
from surveys.exporting.tables import Cell
from surveys.importing.columns import COLUMN_BY_NAME, VISIT_COLUMNS, spot_of
from surveys.measuring.quantities import QUANTITIES
from surveys.models import Measurement, TaxonCount, Visit
from surveys.submission.fields import range_text
from surveys.submission.numbers import plain_text
from surveys.submission.placing import POSITION_FIELDS, position_text
from surveys.submission.writing import position_of

_PLAIN = (
    "fraction_sorted",
    "water_level",
    "clarity",
    "weather",
    "weather_past_week",
    "pollution_signs",
    "notes",
)


def visit_columns(spots: int) -> tuple[str, ...]:
    """Columns of an import about the whole visit, with so many spots.

    The word "standard" is never written: what was done at each spot is known.
    """
    return tuple(name for name in VISIT_COLUMNS if name != "effort" and _number_of(name) <= spots)


def _number_of(name: str) -> int:
    spot = spot_of(name)
    return spot[0] if spot else 0


def visit_cells(visit: Visit, names: Names) -> dict[str, Cell]:
    """The cells of one visit by column; what was not recorded is left out."""
    cells: dict[str, Cell] = {
        "visit": str(visit.pk),
        "start": visit.started_at,
        "end": visit.ended_at,
        "recorder": names.recorder(visit),
        "partner": names.partner(visit),
        "not_made": visit.not_made_reason,
        **_position_cells(visit, names),
        **{name: getattr(visit, name) for name in _PLAIN},
        **dict(_spot_cells(visit)),
        **dict(map(reading_cell, visit.measurements.all())),
    }
    return {name: cell for name, cell in cells.items() if cell not in (None, "")}


def _position_cells(visit: Visit, names: Names) -> dict[str, Cell]:
    position = position_of(visit)
    if position is None or not names.sees_position(visit):
        return {}
    text = position_text(position.latitude, position.longitude)
    return dict(zip(POSITION_FIELDS, (text, position.accuracy_m, position.source), strict=True))


def _spot_cells(visit: Visit) -> Iterator[tuple[str, Cell]]:
    for spot in visit.spots.all():
        yield f"spot{spot.number}_flow", spot.flow_type
        yield f"spot{spot.number}_kicks", spot.kicks
        yield f"spot{spot.number}_seconds", spot.seconds
        yield f"spot{spot.number}_depth_cm", spot.depth_cm


def _reading_columns() -> Mapping[tuple[str, str], str]:
    """The column of each quantity and unit."""
    columns = [each for each in COLUMN_BY_NAME.values() if each.field.startswith("measurements.")]
    return {(each.field.rpartition(".")[2], each.unit): each.name for each in columns}


_COLUMN_OF = _reading_columns()


def reading_cell(reading: Measurement) -> tuple[str, Cell]:
    """Column and cell of a reading; one in a unit without a column is turned into the quantity's first unit."""
    name = _COLUMN_OF.get((reading.quantity, reading.unit))
    value: Decimal = reading.value
    if name is None:
        quantity = QUANTITIES[reading.quantity]
        name, value = _COLUMN_OF[reading.quantity, quantity.unit], quantity.in_first_unit(value, reading.unit)
    # "<0.05" is a limit and no number: as one it would be taken for a reading.
    return name, f"<{plain_text(value)}" if reading.is_below_limit else value


def amount_cell(count: TaxonCount) -> Cell:
    """A count as an import reads it: a number, a range, or the word present."""
    if count.count is not None:
        return count.count
    return range_text(count.low, count.high) if count.low else "present"
