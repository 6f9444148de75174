"""The columns of an import sheet: the one table behind the import page, the template file and COLUMNS.md."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from django.db.models import Choices
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from surveys.models.samples import FlowType
from surveys.models.visits import Clarity, NotMade, PositionSource, WaterLevel, Weather
from surveys.submission.placing import POSITION_FIELDS

# As many spots as a site's plan can hold.
MOST_SPOTS = 12


@dataclass(frozen=True)
class Column:
    """One column. `field` is the path in a submission that its cells fill; empty for columns read in a way of
    their own. `words` are the only ones allowed, if any."""

    name: str
    meaning: Promise
    example: str
    field: str = ""
    unit: str = ""
    required: bool = False
    words: tuple[str, ...] = ()

    @property
    def is_of_spot(self) -> bool:
        """Whether the column stands for a series, one for each spot (spot1_kicks, spot2_kicks, ...)."""
        return self.field.startswith("spots.")


def _words(choices: type[Choices]) -> tuple[str, ...]:
    return tuple(choices.values)


_TAXA = (
    Column("site", _("Code of the site, as in the portal."), "AB1", "site", required=True),
    Column("date", _("Day of the visit, year first."), "2024-05-03", "visited_on", required=True),
    Column(
        "taxon",
        _("Family, genus, species or group. Empty, like the count, in the row of a visit that was not made."),
        "Baetidae",
        required=True,
    ),
    Column(
        "count",
        _(
            "A whole number, or one of the ranges 1-9, 10-99, 100-999, 1000+, or the word present (seen, not "
            "counted). 0 means looked for and not found."
        ),
        "12",
        unit=_("animals"),  # type: ignore[arg-type]
        required=True,
    ),
)

_TRAY = (
    Column(
        "fraction_sorted",
        _("Share of the tray that was sorted, if not all of it; counts are those of the share."),
        "1/4",
        "fraction_sorted",
    ),
    Column(
        "whole_tray",
        _("The word yes in a row that was picked out of the whole tray all the same; it is never multiplied."),
        "yes",
        words=("yes",),
    ),
)

_VISIT = (
    Column("visit", _("Tells two visits to one site on one day apart: any short text of yours."), "morning"),
    Column("start", _("When the visit began."), "10:00", "started_at", "h:min"),
    Column("end", _("When it ended."), "11:10", "ended_at", "h:min"),
    Column(
        "recorder",
        _("Who recorded: a member's name or e-mail address, or another name."),
        "Ada Fenn",
        "recorder",
    ),
    Column("partner", _("Who was there too, in the same way."), "Bo Marsh", "partner"),
    Column(
        "not_made",
        _("Only for a visit that could not be made: why."),
        "too_high",
        "not_made_reason",
        words=_words(NotMade),
    ),
    Column("water_level", _("Level against normal."), "normal", "water_level", words=_words(WaterLevel)),
    Column("clarity", _("How clear the water was."), "clear", "clarity", words=_words(Clarity)),
    Column("weather", _("Weather during the visit."), "dry", "weather", words=_words(Weather)),
    Column(
        "weather_past_week",
        _("Weather of the week before."),
        "showers",
        "weather_past_week",
        words=_words(Weather),
    ),
    Column(
        "position",
        _("Where the sample was taken: degrees or a grid reference. Only a position that somebody confirmed."),
        "54.12346 N, 2.34568 W",
        "position",
    ),
    Column("position_accuracy_m", _("How far off that may be."), "12", "position_accuracy_m", "m"),
    Column(
        "position_source",
        _("How it is known; typed if left out."),
        "phone",
        "position_source",
        words=_words(PositionSource),
    ),
    Column("pollution_signs", _("Anything seen or smelt."), "grey film", "pollution_signs"),
    Column("notes", _("Anything else."), "sheep at the ford", "notes"),
)

_EFFORT = (
    Column(
        "effort",
        _("The word standard, where the site's full standard effort was made; otherwise use the spot columns."),
        "standard",
        "spots",
        words=("standard",),
    ),
    Column("spot1_flow", _("Flow at the first spot."), "riffle", "spots.N.flow_type", words=_words(FlowType)),
    Column("spot1_kicks", _("Kicks at the first spot."), "3", "spots.N.kicks"),
    Column("spot1_seconds", _("Time of all kicks at the first spot together."), "30", "spots.N.seconds", "s"),
    Column("spot1_depth_cm", _("Depth at the first spot."), "20", "spots.N.depth_cm", "cm"),
)

_READINGS = (
    Column("temperature_c", _("Water temperature."), "11.4", "measurements.temperature", "°C"),
    Column("ph", _("pH."), "7.9", "measurements.ph", "pH"),
    Column("conductivity_us_cm", _("Conductivity at 25 °C."), "420", "measurements.conductivity", "µS/cm"),
    Column("oxygen_mg_l", _("Dissolved oxygen (not oxygen demand)."), "10.2", "measurements.oxygen", "mg/L"),
    Column(
        "oxygen_saturation_percent", _("Oxygen saturation."), "94", "measurements.oxygen_saturation", unit="%"
    ),
    Column("turbidity_ntu", _("Turbidity."), "3.5", "measurements.turbidity", "NTU"),
    Column("nitrate_mg_l_no3", _("Nitrate, as NO3."), "12", "measurements.nitrate", "mg/L NO3"),
    Column("nitrate_mg_l_n", _("Nitrate, as nitrogen."), "2.7", "measurements.nitrate", "mg/L N"),
    Column("phosphate_mg_l_po4", _("Phosphate, as PO4."), "<0.05", "measurements.phosphate", "mg/L PO4"),
    Column("phosphate_mg_l_p", _("Phosphate, as phosphorus."), "0.02", "measurements.phosphate", "mg/L P"),
)

COLUMNS: tuple[Column, ...] = (*_TAXA, *_TRAY, *_VISIT, *_EFFORT, *_READINGS)
REQUIRED = tuple(column.name for column in COLUMNS if column.required)
_SPOT_NAME = re.compile(r"spot([1-9]\d?)_(flow|kicks|seconds|depth_cm)")


def _all_columns() -> Mapping[str, Column]:
    found = {column.name: column for column in COLUMNS}
    for column in COLUMNS:
        if column.is_of_spot:
            for number in range(1, MOST_SPOTS + 1):
                found[column.name.replace("spot1", f"spot{number}")] = column
    return MappingProxyType(found)


# Every header that is read, the series of the spots written out.
COLUMN_BY_NAME = _all_columns()
# What says something of the whole visit, in the order of the table; the rows of a visit must agree on it.
_ROW_COLUMNS = ("site", "date", "taxon", "count", "whole_tray")
VISIT_COLUMNS = tuple(name for name in COLUMN_BY_NAME if name not in _ROW_COLUMNS)


def quantities_in(header: Iterable[str]) -> list[str]:
    """The quantities that columns of these names give readings of."""
    fields = (COLUMN_BY_NAME[name].field for name in header if name in COLUMN_BY_NAME)
    return sorted({each.partition(".")[2] for each in fields if each.startswith("measurements.")})


def spot_of(name: str) -> tuple[int, str] | None:
    """Spot number and submission field of a spot column ("spot2_flow" -> 2, "flow_type"), else None."""
    found = _SPOT_NAME.fullmatch(name)
    if not found:
        return None
    return int(found[1]), COLUMN_BY_NAME[name].field.rpartition(".")[2]


def header_name(text: str) -> str:
    """A header as typed, in the form of the table: " Water level" -> "water_level"."""
    return "_".join(text.casefold().split())


def template_csv() -> str:
    """A sheet to start from: the header and one visit of two rows."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    # Columns that exclude each other, or that most sheets do without.
    left_out = {"visit", "not_made", "effort", "nitrate_mg_l_n", "phosphate_mg_l_p"}
    left_out |= {column.name for column in _TRAY} | set(POSITION_FIELDS)
    columns = [column for column in COLUMNS if column.name not in left_out]
    writer.writerow([column.name for column in columns])
    writer.writerow([column.example for column in columns])
    short = {"site": "AB1", "date": "2024-05-03", "taxon": "Gammaridae", "count": "10-99"}
    writer.writerow([short.get(column.name, "") for column in columns])
    return out.getvalue()


def columns_table() -> str:
    """The columns as a table in Markdown, as it stands in COLUMNS.md."""
    lines = ["| column | what stands in it | example, unit |", "|---|---|---|"]
    for column in COLUMNS:
        name = f"`{column.name}`" + (" (required)" if column.required else "")
        meaning = str(column.meaning)
        if column.is_of_spot:
            meaning += " Likewise spot2, spot3 and so on, up to 12."
        if len(column.words) > 1:
            meaning += f" One of: {', '.join(column.words)}."
        lines.append(f"| {name} | {meaning} | `{column.example}` {column.unit}".rstrip() + " |")
    return "\n".join(lines)
