"""Scores of a plain file of counts: CSV in (`sample,taxon,count`), JSON or CSV out. No database needed."""

import csv
import io
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from scoring.indices import METHODS, Score, score_sample
from scoring.samples import Count

HEADER = ("sample", "taxon", "count")
MOST_ANIMALS = 1_000_000_000
COLUMNS = tuple(METHODS)
# A spreadsheet would run a cell that starts like this as a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

Samples = Mapping[str, list[Count]]
Figure = float | int | None


class CountsFileError(ValueError):
    """What is wrong with the file, in one line that names file and row."""


def read_counts(path: Path) -> Samples:
    """Return the counts of each sample, in the order of the file; raises CountsFileError."""
    samples: dict[str, list[Count]] = {}
    for sample, count in _read_lines(path):
        samples.setdefault(sample, []).append(count)
    if not samples:
        raise CountsFileError(f"{path}: no rows below the header")
    return samples


def format_scores(samples: Samples, form: str) -> str:
    """Return the scores of all samples as "json" or "csv" text, figures rounded to six decimals."""
    scores = {sample: score_sample(counts) for sample, counts in samples.items()}
    return _as_json(scores) if form == "json" else _as_csv(scores)


def _read_lines(path: Path) -> Iterator[tuple[str, Count]]:
    # strict, because a lost quote would otherwise swallow the rows that follow.
    reader = csv.reader(io.StringIO(_read_text(path), newline=""), strict=True)
    rows = _number_rows(path, reader)
    _check_header(path, next(rows, (1, []))[1])
    for number, cells in rows:
        # Spreadsheets leave blank rows, some of them with the commas.
        if any(cells):
            yield _read_row(f"{path}: row {number}", cells)


def _read_text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise CountsFileError(f"{path}: cannot be read ({error.strerror})") from error
    except UnicodeDecodeError as error:
        # Most such files come from a spreadsheet's older CSV form; the row helps to find the letter.
        row = error.object[: error.start].count(b"\n") + 1
        raise CountsFileError(f"{path}: row {row} is not UTF-8 text; save the file as CSV UTF-8") from error


def _number_rows(path: Path, reader: Iterator[list[str]]) -> Iterator[tuple[int, list[str]]]:
    number = 0
    try:
        for number, cells in enumerate(reader, 1):
            yield number, [cell.strip() for cell in cells]
    except csv.Error as error:
        raise CountsFileError(f"{path}: row {number + 1} is not valid CSV ({error})") from error


def _check_header(path: Path, cells: list[str]) -> None:
    if tuple(cell.casefold() for cell in cells) != HEADER:
        raise CountsFileError(f"{path}: row 1 must be the header {','.join(HEADER)}")


def _read_row(place: str, cells: list[str]) -> tuple[str, Count]:
    if len(cells) != len(HEADER):
        raise CountsFileError(f"{place} has {len(cells)} columns, not {len(HEADER)}")
    sample, taxon, number = cells
    for column, cell in zip(HEADER, cells, strict=True):
        if not cell:
            raise CountsFileError(f"{place} has no {column}")
    return sample, Count(taxon, _read_number(place, number))


def _read_number(place: str, text: str) -> int:
    # int() alone would let through 1_000, digits of other scripts and a sign.
    if not (text.isascii() and text.isdigit()):
        raise CountsFileError(f"{place} has the count {text!r}; a whole number from 0 up is needed")
    if len(text) > len(str(MOST_ANIMALS)) or int(text) > MOST_ANIMALS:
        raise CountsFileError(f"{place} has a count above {MOST_ANIMALS:,}")
    return int(text)


def _as_json(scores: Mapping[str, Mapping[str, Score]]) -> str:
    told = {sample: _sample_as_json(found) for sample, found in scores.items()}
    # What the BMWP table does not score must be seen, whether or not another table knows it.
    unmatched = {sample: list(found["bmwp"].left_out) for sample, found in scores.items()}
    return json.dumps({"samples": told, "unmatched": unmatched}, indent=2) + "\n"


def _sample_as_json(scores: Mapping[str, Score]) -> dict[str, object]:
    figures = {index: _figure(score) for index, score in scores.items()}
    told: dict[str, object] = {
        "bmwp": {"score": figures["bmwp"], "ntaxa": figures["ntaxa"], "aspt": figures["aspt"]},
        "ept_families": figures["ept_families"],
        "shannon": figures["shannon"],
        "simpson": figures["simpson"],
        "whpt": {"score": figures["whpt"], "ntaxa": figures["whpt_ntaxa"], "aspt": figures["whpt_aspt"]},
        "fbi": {"score": figures["fbi"], "class": scores["fbi"].rating or None},
        "ept_percent": figures["ept_percent"],
        "richness": figures["richness"],
        "pielou": figures["pielou"],
        "left_out": _left_out(scores),
    }
    rating = scores["epa_volunteer"]
    # A list that names none of the rating's animals cannot support it: 0 would read as a result.
    return (
        told | {"epa_volunteer": {"score": _figure(rating), "rating": rating.rating}} if rating.used else told
    )


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
