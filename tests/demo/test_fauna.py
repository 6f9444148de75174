"""The invented catches: believable enough that scores tell clean from polluted."""

from __future__ import annotations

from statistics import mean

import numpy as np
import pytest

from portal.demo.fauna import FAMILIES, REACHES, catch, count_lines
from portal.demo.visiting import BAD_WATER
from portal.demo.weather import conditions, readings, why_not_made
from scoring.indices import score_sample
from scoring.samples import Count
from scoring.taxa import find_taxon
from surveys.models.visits import NotMade
from surveys.services.built_in_lists import family_rows


def scores(reach: str, stress: float, index: str = "aspt") -> list[float]:
    rng = np.random.default_rng(1)
    samples = [catch(rng, reach, month % 12 + 1, stress) for month in range(24)]
    values = [score_sample(Count(*line) for line in sample.items())[index].value for sample in samples]
    return [value for value in values if value is not None]


def test_the_same_seed_catches_the_same() -> None:
    assert catch(np.random.default_rng(7), "upland", 5) == catch(np.random.default_rng(7), "upland", 5)


def test_every_family_is_on_the_built_in_list_and_known_to_scoring() -> None:
    listed = {row["taxon"] for row in family_rows()}
    assert {family.name for family in FAMILIES} <= listed
    assert all(find_taxon(family.name) for family in FAMILIES)


def test_scores_fall_from_the_hills_to_the_sea() -> None:
    upland, middle, lowland = (mean(scores(reach, 0.0)) for reach in REACHES)
    assert upland > middle > lowland


@pytest.mark.parametrize("reach", REACHES)
def test_bad_water_lowers_every_score_below_all_clean_ones(reach: str) -> None:
    assert max(scores(reach, BAD_WATER, "bmwp")) < min(scores(reach, 0.0, "bmwp"))
    assert mean(scores(reach, BAD_WATER)) < min(scores(reach, 0.0))


@pytest.mark.parametrize(
    ("number", "line"),
    [
        (0, {"count": "0"}),
        (9, {"count": "9"}),
        (10, {"range": "10-99"}),
        (99, {"range": "10-99"}),
        (100, {"range": "100-999"}),
        (1000, {"range": "1000+"}),
    ],
)
def test_larger_numbers_can_be_written_as_ranges(number: int, line: dict[str, str]) -> None:
    assert count_lines({"Baetidae": number}, in_ranges=True) == [{"taxon": "Baetidae", **line}]
    assert count_lines({"Baetidae": number}, in_ranges=False) == [{"taxon": "Baetidae", "count": str(number)}]


def test_water_is_colder_in_january_and_holds_more_oxygen() -> None:
    rng = np.random.default_rng(3)
    winter, summer = (readings(rng, month, stress=0.0, odd=False) for month in (1, 7))
    assert float(winter["temperature"]["value"]) < float(summer["temperature"]["value"])
    assert float(winter["oxygen"]["value"]) > float(summer["oxygen"]["value"])


def test_an_odd_reading_is_outside_the_usual_range_of_ph() -> None:
    rng = np.random.default_rng(3)
    assert readings(rng, 5, stress=0.0, odd=True)["ph"]["value"] == "9.3"
    assert 7 < float(readings(rng, 5, stress=0.0, odd=False)["ph"]["value"]) < 8.5


def test_a_spate_is_said_with_the_rain_before_it() -> None:
    wet = conditions(np.random.default_rng(3), 12, spate=True)
    assert (wet["water_level"], wet["weather_past_week"]) == ("spate", "heavy_rain")


def test_winter_visits_fail_mostly_by_the_river() -> None:
    rng = np.random.default_rng(3)
    winter = [why_not_made(rng, 1) for _ in range(200)]
    summer = [why_not_made(rng, 7) for _ in range(200)]
    assert winter.count(NotMade.TOO_HIGH) > 120 > summer.count(NotMade.TOO_HIGH)
    assert set(summer) <= set(NotMade.values)
