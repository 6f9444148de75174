"""Measurements, conditions, effort and scores as measurements or facts.

`FACTS` pairs each with the column of an import, so that an archive of ours can be read back.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from scoring.indices import METHODS
from surveys.exporting.cells import as_text
from surveys.exporting.darwin.dataset import number_of, urn
from surveys.exporting.darwin.layout import Row
from surveys.exporting.visit_cells import reading_cell
from surveys.measuring.quantities import QUANTITIES
from surveys.models import Visit, VisitScore
from surveys.visits.sheets import scores_of

# Column of an import -> what is measured, and its unit.
READINGS: Mapping[str, tuple[str, str]] = {
    "temperature_c": ("water temperature", "°C"),
    "ph": ("pH", ""),
    "conductivity_us_cm": ("electrical conductivity at 25 °C", "µS/cm"),
    "oxygen_mg_l": ("dissolved oxygen", "mg/L"),
    "oxygen_saturation_percent": ("oxygen saturation", "%"),
    "turbidity_ntu": ("turbidity", "NTU"),
    "nitrate_mg_l_no3": ("nitrate as NO3", "mg/L"),
    "nitrate_mg_l_n": ("nitrate as N", "mg/L"),
    "phosphate_mg_l_po4": ("phosphate as PO4", "mg/L"),
    "phosphate_mg_l_p": ("phosphate as P", "mg/L"),
}
CONDITIONS: Mapping[str, str] = {
    "water_level": "water level against normal",
    "clarity": "clarity of the water",
    "weather": "weather during the visit",
    "weather_past_week": "weather of the week before",
    "fraction_sorted": "share of the tray that was sorted",
}
_SPOT = re.compile(r"(flow type|kicks|kicking time|depth) at spot (\d{1,2})")
_PARTS = {"flow type": "flow", "kicks": "kicks", "kicking time": "seconds", "depth": "depth_cm"}


def column_of(measured: str) -> str:
    """The column of an import that a fact belongs in; empty for scores and whatever is not ours."""
    for column, (name, _unit) in READINGS.items():
        if name == measured:
            return column
    for column, name in CONDITIONS.items():
        if name == measured:
            return column
    spot = _SPOT.fullmatch(measured)
    return f"spot{spot[2]}_{_PARTS[spot[1]]}" if spot else ""


def fact_rows(visit: Visit) -> Iterator[Row]:
    """Everything measured, seen, done and scored at a visit."""
    for fact in (*_readings(visit), *_conditions(visit), *_effort(visit), *_scores(visit)):
        measured = fact["measurementType"]
        yield {"eventID": urn(visit.pk), "measurementID": number_of(visit.pk, measured), **fact}


def _readings(visit: Visit) -> Iterator[Row]:
    for reading in sorted(visit.measurements.all(), key=lambda each: list(QUANTITIES).index(each.quantity)):
        column, value = reading_cell(reading)
        measured, unit = READINGS[column]
        yield {
            "measurementType": measured,
            "measurementValue": as_text(value),
            "measurementUnit": unit,
            "measurementDeterminedDate": visit.visited_on.isoformat(),
            "measurementRemarks": "below the limit of the kit" if reading.is_below_limit else "",
        }


def _conditions(visit: Visit) -> Iterator[Row]:
    for column, measured in CONDITIONS.items():
        if value := getattr(visit, column):
            yield {"measurementType": measured, "measurementValue": value}


def _effort(visit: Visit) -> Iterator[Row]:
    for spot in visit.spots.all():
        parts = (
            ("flow type", spot.flow_type, ""),
            ("kicks", spot.kicks, ""),
            ("kicking time", as_text(spot.seconds), "s"),
            ("depth", as_text(spot.depth_cm), "cm"),
        )
        for part, value, unit in parts:
            if value != "":
                measured = f"{part} at spot {spot.number}"
                yield {"measurementType": measured, "measurementValue": value, "measurementUnit": unit}


def _scores(visit: Visit) -> Iterator[Row]:
    by_index = {score.index: score for score in scores_of(visit)}
    for index, method in METHODS.items():
        score = by_index.get(index)
        if score and score.value is not None:
            yield {
                "measurementType": f"{method.name}, {method.title}",
                "measurementValue": as_text(score.value),
                "measurementAccuracy": _span(score),
                "measurementUnit": "",
                "measurementMethod": f"computed from the counts, version {score.version}: {method.source}",
            }


def _span(score: VisitScore) -> str:
    if score.low is None or score.high is None or score.low == score.high:
        return ""
    return f"{as_text(score.low)} to {as_text(score.high)} fit what was recorded"
