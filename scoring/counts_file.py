"""Scores of a plain file of counts: CSV in (`sample,taxon,count`), JSON or CSV out. No database needed."""

import csv
import io
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from scoring.csv_file import CsvFileError, read_rows
from scoring.indices import METHODS, Score, score_sample
from scoring.samples import Count
from scoring.status import Expected, Status, status_of

HEADER = ("sample", "taxon", "count")
MOST_ANIMALS = 1_000_000_000
COLUMNS = tuple(METHODS)
# A spreadsheet would run a cell that starts like this as a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

Samples = Mapping[str, list[Count]]
Figure = float | int | None


def read_counts(path: Path) -> Samples:
    """Return the counts of each sample, in the order of the file; raises CsvFileError."""
    samples: dict[str, list[Count]] = {}
    for sample, count in _read_lines(path):
        samples.setdefault(sample, []).append(count)
    if not samples:
        raise CsvFileError(f"{path}: no rows below the header")
    return samples


def format_scores(samples: Samples, form: str, expected: Expected | None = None) -> str:
    """Return the scores of all samples as "json" or "csv" text, figures rounded to six decimals.

    With what the agency expects of WHPT at the site, the JSON tells the status class too.
    """
    scores = {sample: score_sample(counts) for sample, counts in samples.items()}
    return _as_json(scores, expected) if form == "json" else _as_csv(scores)


def _read_lines(path: Path) -> Iterator[tuple[str, Count]]:
    for place, (sample, taxon, number) in read_rows(path, HEADER):
        yield sample, Count(taxon, _read_number(place, number))


def _read_number(place: str, text: str) -> int:
    # int() alone would let through 1_000, digits of other scripts and a sign.
    if not (text.isascii() and text.isdigit()):
        raise CsvFileError(f"{place} has the count {text!r}; a whole number from 0 up is needed")
    if len(text) > len(str(MOST_ANIMALS)) or int(text) > MOST_ANIMALS:
        raise CsvFileError(f"{place} has a count above {MOST_ANIMALS:,}")
    return int(text)


def _as_json(scores: Mapping[str, Mapping[str, Score]], expected: Expected | None) -> str:
    told = {
        sample: _sample_as_json(found) | _status_as_json(found, expected) for sample, found in scores.items()
    }
    # What the BMWP table does not score must be seen, whether or not another table knows it.
    unmatched = {sample: list(found["bmwp"].left_out) for sample, found in scores.items()}
    return json.dumps({"samples": told, "unmatched": unmatched}, indent=2) + "\n"


def _sample_as_json(scores: Mapping[str, Score]) -> dict[str, object]:
    figures = {index: _figure(score) for index, score in scores.items()}
    return {
        "bmwp": {"score": figures["bmwp"], "ntaxa": figures["ntaxa"], "aspt": figures["aspt"]},
        "ept_families": figures["ept_families"],
        "shannon": figures["shannon"],
        "simpson": figures["simpson"],
        "whpt": {"score": figures["whpt"], "ntaxa": figures["whpt_ntaxa"], "aspt": figures["whpt_aspt"]},
        "fbi": {"score": figures["fbi"], "class": scores["fbi"].rating or None},
        "ept_percent": figures["ept_percent"],
        "richness": figures["richness"],
        "pielou": figures["pielou"],
        **_short_list_scores(scores),
        "left_out": _left_out(scores),
    }


def _status_as_json(scores: Mapping[str, Score], expected: Expected | None) -> dict[str, object]:
    mean, taxa = scores["whpt_aspt"].value, scores["whpt_ntaxa"].value
    if expected is None or mean is None or taxa is None:
        return {}
    status: Status = status_of(mean, taxa, expected)
    ratios = {"aspt_ratio": round(status.mean_ratio, 6), "ntaxa_ratio": round(status.taxa_ratio, 6)}
    classes = {"aspt_class": status.mean_class, "ntaxa_class": status.taxa_class, "class": status.overall}
    return {"whpt_status": ratios | classes}


def _short_list_scores(scores: Mapping[str, Score]) -> dict[str, object]:
    rating, bankside = scores["epa_volunteer"], scores["bankside"]
    told: dict[str, object] = {}
    # A list that names none of the animals cannot support these: 0 would read as a result.
    if rating.used:
        told["epa_volunteer"] = {"score": _figure(rating), "rating": rating.rating}
    if bankside.used:
        told["bankside"] = _figure(bankside)
    return told


def _left_out(scores: Mapping[str, Score]) -> dict[str, list[str]]:
    return {index: list(scores[index].left_out) for index in ("whpt", "fbi") if scores[index].left_out}


def _figure(score: Score) -> Figure:
    if score.value is None:
        return None
    return round(score.value, 6) if METHODS[score.index].decimals else int(score.value)


def _as_csv(scores: Mapping[str, Mapping[str, Score]]) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("sample", *COLUMNS, "fbi_class", "epa_volunteer_rating", "unmatched"))
    writer.writerows(_sample_as_row(sample, found) for sample, found in scores.items())
    return out.getvalue()


def _sample_as_row(sample: str, scores: Mapping[str, Score]) -> Iterable[object]:
    figures = [_figure(scores[index]) for index in COLUMNS]
    ratings = [scores[index].rating for index in ("fbi", "epa_volunteer")]
    return (_safe(sample), *figures, *ratings, _safe("; ".join(scores["bmwp"].left_out)))


def _safe(text: str) -> str:
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text
