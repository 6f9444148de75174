"""A stream past a sewage inflow: Meaudret, five sites in four seasons.

Pegaz-Maucet 1980, open data carried by the R package ade4 (data/SOURCE.md). S1 lies above the inflow, S2
below it, S5 where the stream has recovered.
"""

import csv
from functools import cache
from pathlib import Path

import pytest

from scoring.indices import Score, score_sample, unmatched
from scoring.samples import Count
from scoring.taxa import roll_up

COUNTS = Path(__file__).parent / "data/meaudret_counts.csv"
SITES = ("S1", "S2", "S3", "S4", "S5")
SEASONS = ("spring", "summer", "autumn", "winter")


def rows() -> list[dict[str, str]]:
    with COUNTS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@cache
def scores(season: str, site: str) -> dict[str, Score]:
    here = [row for row in rows() if (row["season"], row["site"]) == (season, site)]
    return score_sample([Count(row["taxon"], int(row["abundance"])) for row in here])


def bmwp(season: str, site: str) -> float:
    found = scores(season, site)["bmwp"].value
    assert found is not None
    return found


def test_it_scores_the_clean_site_in_summer_44_on_five_families() -> None:
    summer = scores("summer", "S1")
    assert summer["bmwp"].value == 44
    assert summer["ntaxa"].value == 5
    assert summer["aspt"].value == 8.8
    assert summer["ept_families"].value == 5


@pytest.mark.parametrize("season", ["spring", "summer", "autumn"])
def test_it_finds_no_site_below_the_one_under_the_inflow(season: str) -> None:
    assert bmwp(season, "S2") == min(bmwp(season, site) for site in SITES)


def test_it_finds_one_site_below_it_in_winter() -> None:
    assert bmwp("winter", "S3") < bmwp("winter", "S2")


@pytest.mark.parametrize("season", SEASONS)
def test_it_finds_the_recovered_site_above_the_polluted_one(season: str) -> None:
    assert bmwp(season, "S5") > bmwp(season, "S2")


@pytest.mark.parametrize("season", SEASONS)
def test_it_ranks_the_two_sites_alike_by_weighted_score_and_families(season: str) -> None:
    for index in ("whpt", "ept_families", "ntaxa"):
        assert (scores(season, "S5")[index].value or 0) > (scores(season, "S2")[index].value or 0)


def test_it_matches_every_name_of_the_data() -> None:
    assert unmatched(Count(row["taxon"], 1) for row in rows()) == []


@pytest.mark.parametrize("taxon", sorted({row["taxon"] for row in rows()}))
def test_it_rolls_each_name_up_to_the_family_of_the_data(taxon: str) -> None:
    families = {row["family"] for row in rows() if row["taxon"] == taxon}
    found = roll_up(taxon)
    assert found is not None
    assert families == {found.name}


def test_it_leaves_nothing_out_of_any_sample() -> None:
    for season in SEASONS:
        for site in SITES:
            assert scores(season, site)["bmwp"].left_out == ()
