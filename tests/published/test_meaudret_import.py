"""A real stream through the importer: the Meaudret below a sewage inflow.

Pegaz-Maucet 1980, open data carried by the R package ade4 (data/SOURCE.md): sites S1 above the inflow, S2
below it, S5 where the stream has recovered, in four seasons. The data set gives no dates; the days below stand
for the seasons. Its nitrate and phosphate are in mg/L without saying of what; they are taken as NO3 and PO4.
Its `Oxyd` is oxygen demand, not dissolved oxygen, and has no column of ours.
"""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from pathlib import Path

import pytest
from django.core.management import call_command
from openpyxl import Workbook

from surveys.models import Visit
from tests.conftest import Cast
from tests.factories import SiteFactory

DATA = Path(__file__).parent / "data"
DAYS = {"spring": "1978-04-15", "summer": "1978-07-15", "autumn": "1978-10-15", "winter": "1979-01-15"}
SITES = ("S1", "S2", "S3", "S4", "S5")
READINGS = {
    "Temp": "temperature_c",
    "pH": "ph",
    "Cond": "conductivity_us_cm",
    "Nitr": "nitrate_mg_l_no3",
    "Phos": "phosphate_mg_l_po4",
}
Row = dict[str, str]


def rows_of(name: str) -> list[Row]:
    with (DATA / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def import_rows() -> list[Row]:
    """One row per taxon and visit, in the columns of an import sheet."""
    chemistry = {
        row["sample"]: {ours: row[theirs] for theirs, ours in READINGS.items()}
        for row in rows_of("meaudret_chemistry.csv")
    }
    return [
        {
            "site": row["site"],
            "date": DAYS[row["season"]],
            "taxon": row["taxon"],
            "count": row["abundance"],
            "recorder": "after Pegaz-Maucet 1980",
            **chemistry[row["sample"]],
        }
        for row in rows_of("meaudret_counts.csv")
    ]


def as_csv(rows: list[Row]) -> bytes:
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def as_xlsx(rows: list[Row]) -> bytes:
    book = Workbook()
    assert book.active is not None
    book.active.append(list(rows[0]))
    for row in rows:
        # Numbers as numbers, as somebody's own workbook would have them.
        cells = [float(value) if value.replace(".", "", 1).isdigit() else value for value in row.values()]
        book.active.append(cells)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@pytest.fixture(params=["csv", "xlsx"])
def meaudret(request: pytest.FixtureRequest, cast: Cast, tmp_path: Path) -> dict[tuple[str, str], Visit]:
    """The data as visits of a group, by season and site, loaded by the command."""
    for code in SITES:
        SiteFactory(group=cast.group, code=code, river="Meaudret")
    content = as_csv(import_rows()) if request.param == "csv" else as_xlsx(import_rows())
    path = tmp_path / f"meaudret.{request.param}"
    path.write_bytes(content)
    call_command("import_visits", str(path), "--group", cast.group.slug, stdout=io.StringIO())
    seasons = {day: season for season, day in DAYS.items()}
    visits = Visit.objects.of_group(cast.group).select_related("site").prefetch_related("scores", "counts")
    return {(seasons[visit.visited_on.isoformat()], visit.site.code): visit for visit in visits}


def score(visit: Visit, index: str) -> float | None:
    (found,) = (each for each in visit.scores.all() if each.index == index and each.is_current)
    return found.value


def bmwp(visits: dict[tuple[str, str], Visit], season: str) -> dict[str, float]:
    values = {site: score(visits[season, site], "bmwp") for site in SITES}
    assert None not in values.values()
    return {site: value for site, value in values.items() if value is not None}


def test_it_loads_the_stream_of_a_published_study(meaudret: dict[tuple[str, str], Visit]) -> None:
    """One journey on one import: what the study found stands in the database's own scores."""
    assert len(meaudret) == len(SITES) * len(DAYS)
    _every_animal_is_there(meaudret)
    _no_site_is_poorer_than_the_one_below_the_inflow(meaudret)
    _the_clean_site_in_summer_scores_as_worked_out_by_hand(meaudret)
    _the_stream_recovers_downstream(meaudret)
    _readings_keep_their_units(meaudret)


def _every_animal_is_there(visits: dict[tuple[str, str], Visit]) -> None:
    expected: dict[tuple[str, str], int] = defaultdict(int)
    for row in rows_of("meaudret_counts.csv"):
        expected[row["season"], row["site"]] += int(row["abundance"])
    found = {key: sum(each.count or 0 for each in visit.counts.all()) for key, visit in visits.items()}
    assert found == expected


def _no_site_is_poorer_than_the_one_below_the_inflow(visits: dict[tuple[str, str], Visit]) -> None:
    for season in ("spring", "summer", "autumn"):
        scores = bmwp(visits, season)
        assert scores["S2"] == min(scores.values()), season


def _the_clean_site_in_summer_scores_as_worked_out_by_hand(visits: dict[tuple[str, str], Visit]) -> None:
    # Ephemeridae, Heptageniidae and Leptophlebiidae 10 each, Ephemerellidae 10, Baetidae 4: 44 on 5 families.
    visit = visits["summer", "S1"]
    assert (score(visit, "bmwp"), score(visit, "ntaxa")) == (44, 5)
    assert score(visit, "aspt") == pytest.approx(8.8)


def _the_stream_recovers_downstream(visits: dict[tuple[str, str], Visit]) -> None:
    for season in DAYS:
        scores = bmwp(visits, season)
        assert scores["S5"] > scores["S2"], season


def _readings_keep_their_units(visits: dict[tuple[str, str], Visit]) -> None:
    readings = {
        each.quantity: (float(each.value), each.unit) for each in visits["summer", "S2"].measurements.all()
    }
    assert readings == {
        "temperature": (13.0, "°C"),
        "ph": (7.6, "pH"),
        "conductivity": (380.0, "µS/cm"),
        "nitrate": (0.8, "mg/L NO3"),
        "phosphate": (3.65, "mg/L PO4"),
    }
