"""Trigger advice on a plain file of scores: CSV in (`date,score`), JSON or text out. No database needed."""

import json
import math
from dataclasses import asdict
from datetime import date
from pathlib import Path

from scoring.advice import ASSUMES, Advice, Estimate, LevelAdvice
from scoring.csv_file import CsvFileError, read_rows
from scoring.indices import METHODS

HEADER = ("date", "score")


def read_scores(path: Path) -> list[tuple[date, float]]:
    """Return the dated scores in the order of the file; raises CsvFileError."""
    scores = [
        (_read_date(place, day), _read_score(place, score)) for place, (day, score) in read_rows(path, HEADER)
    ]
    if not scores:
        raise CsvFileError(f"{path}: no rows below the header")
    return scores


def format_advice(advice: Advice, form: str) -> str:
    """Return the advice as "json", or as "text" to be read."""
    return _as_json(advice) if form == "json" else "\n".join(_as_text(advice)) + "\n"


def _read_date(place: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise CsvFileError(f"{place} has the date {text!r}; a date such as 2026-05-03 is needed") from error


def _read_score(place: str, text: str) -> float:
    try:
        score = float(text)
    except ValueError:
        score = math.nan
    # float() lets through "nan", "inf" and "1_000" as well.
    if not math.isfinite(score) or "_" in text:
        raise CsvFileError(f"{place} has the score {text!r}; a number is needed")
    return score


def _as_json(advice: Advice) -> str:
    suggestion = advice.suggestion
    level = suggestion.level.level if suggestion and suggestion.level else None
    told = {"suggested_level": level, **asdict(advice), "assumes": ASSUMES}
    told["method_version"] = METHODS[advice.index].version
    told["is_provisional"] = advice.baseline.is_provisional
    return json.dumps(told, indent=2) + "\n"


def _as_text(advice: Advice) -> list[str]:
    name, base = METHODS[advice.index].name, advice.baseline
    return [
        f"{name}: {base.n} visits, median {base.median:g}, from {base.lowest:g} to {base.highest:g}.",
        *(f"Caution: {caution}" for caution in advice.cautions),
        *_suggestion_as_text(advice),
        "",
        f"Level (fires below it), at {advice.visits_per_year:g} visits a year, with 95 % intervals:",
        *(line for level in advice.levels for line in _level_as_text(level)),
        "",
        ASSUMES,
    ]


def _suggestion_as_text(advice: Advice) -> list[str]:
    suggestion = advice.suggestion
    if not suggestion:
        return []
    wish = f"for at most {suggestion.wanted_per_year:g} false alarms a year"
    if suggestion.level:
        told = [f"Suggested level {wish}: {suggestion.level.level:g}."]
    else:
        told = [f"No level can be suggested {wish}."]
    if suggestion.normal_level is not None:
        told.append(
            f"If scores followed a bell curve, {suggestion.normal_level:.4g} would do: a second opinion."
        )
    return told


def _level_as_text(level: LevelAdvice) -> list[str]:
    note = "; no visit was below it yet" if level.is_beyond else ""
    return [
        f"  {level.level:g}: {_figure(level.false_alarms_per_year)} false alarms a year{note}",
        *(
            f"      fall by {catch.fall:g}: caught at the next visit {_percent(catch.next_visit)}, "
            f"within two visits {_percent(catch.within_two)}"
            for catch in level.catches
        ),
    ]


def _figure(one: Estimate) -> str:
    return f"{one.value:.2f} ({one.low:.2f} to {one.high:.2f})"


def _percent(one: Estimate) -> str:
    return f"{one.value:.0%} ({one.low:.0%} to {one.high:.0%})"
