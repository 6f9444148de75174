"""The plain score of six broad groups: its weights, its sign, its limits."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.indices import METHODS, score_sample
from scoring.indices.bankside import MIDDLE, weights
from scoring.samples import Count
from scoring.tables import read_table
from tests.scoring.making import exact, score, value

SENSITIVE = ("Plecoptera", "Ephemeroptera", "Trichoptera")
TOLERANT = ("Oligochaeta", "Hirudinea", "Chironomidae")
numbers = st.integers(0, 5_000)


def test_it_weighs_by_the_mean_bmwp_score_of_the_families() -> None:
    # Worked by hand from the BMWP table: seven stonefly, eight mayfly, sixteen caddis and four leech families.
    assert weights() == {
        "Plecoptera": pytest.approx(67 / 7 - 5.5),
        "Ephemeroptera": pytest.approx(71 / 8 - 5.5),
        "Trichoptera": pytest.approx(138 / 16 - 5.5),
        "Oligochaeta": pytest.approx(1 - 5.5),
        "Hirudinea": pytest.approx(13 / 4 - 5.5),
        "Chironomidae": pytest.approx(2 - 5.5),
    }


def test_it_takes_the_middle_of_the_bmwp_scale() -> None:
    scores = [float(row["score"]) for row in read_table("bmwp")]
    assert (min(scores) + max(scores)) / 2 == MIDDLE


def test_it_has_three_sensitive_and_three_tolerant_groups() -> None:
    assert {row["taxon"]: row["side"] for row in read_table("bankside")} == {
        **dict.fromkeys(SENSITIVE, "sensitive"),
        **dict.fromkeys(TOLERANT, "tolerant"),
    }
    assert all(weights()[group] > 0 for group in SENSITIVE)
    assert all(weights()[group] < 0 for group in TOLERANT)


def test_it_prints_the_weights_on_the_page_as_computed() -> None:
    for weight in weights().values():
        assert f" {round(weight, 3):g}" in METHODS["bankside"].formula


def test_it_says_that_it_is_not_published() -> None:
    assert "not a published index" in METHODS["bankside"].title
    assert METHODS["bankside"].source.startswith("Not a published index")
    assert METHODS["bankside"].level == "group"


def test_it_adds_one_weight_for_nine_animals_and_another_for_ninety_more() -> None:
    assert value("bankside", {"stonefly": 9}) == pytest.approx(weights()["Plecoptera"])
    assert value("bankside", {"stonefly": 99}) == pytest.approx(2 * weights()["Plecoptera"])


def test_it_is_zero_for_a_dead_stream_and_for_animals_outside_the_six_groups() -> None:
    assert value("bankside", {}) == 0
    found = score("bankside", Count("Gammaridae", 50))
    assert (found.value, found.left_out) == (0, ("Gammaridae",))


def test_it_scores_a_clean_stream_above_a_dead_one_and_that_above_a_foul_one() -> None:
    clean = value("bankside", {"stonefly": 30, "mayfly": 100, "caddis": 50, "midge": 20})
    foul = value("bankside", {"freshwater worm": 500, "midge": 200, "leech": 10})
    assert clean is not None
    assert foul is not None
    assert clean > 0 > foul


def test_it_counts_families_and_finer_names_in_their_group() -> None:
    by_group = value("bankside", {"mayfly nymph": 15, "leech": 4, "freshwater worm": 7})
    by_family = value("bankside", {"Baetis rhodani": 10, "Caenidae": 5, "Erpobdellidae": 4, "Tubificidae": 7})
    assert by_family == pytest.approx(by_group)


def test_it_adds_the_parts_of_the_groups_up() -> None:
    found = score("bankside", *exact({"mayfly": 20, "midge": 40, "leech": 3}))
    assert [group for group, _ in found.parts] == ["Chironomidae", "Ephemeroptera", "Hirudinea"]
    assert math.fsum(part for _, part in found.parts) == pytest.approx(found.value)


@given(numbers, numbers, st.integers(1, 500))
def test_it_rises_with_sensitive_and_falls_with_tolerant_animals(mayflies: int, midges: int, more: int) -> None:
    before = value("bankside", {"mayfly": mayflies, "midge": midges})
    cleaner = value("bankside", {"mayfly": mayflies + more, "midge": midges})
    fouler = value("bankside", {"mayfly": mayflies, "midge": midges + more})
    assert before is not None
    assert cleaner is not None
    assert fouler is not None
    assert fouler < before < cleaner


def test_it_bounds_ranges_from_both_sides() -> None:
    found = score("bankside", Count("mayfly", low=10, high=99), Count("midge", low=1, high=9))
    low = score("bankside", *exact({"mayfly": 10, "midge": 9})).value
    high = score("bankside", *exact({"mayfly": 99, "midge": 1})).value
    assert (found.low, found.high) == (low, high)
    assert found.low is not None
    assert found.high is not None
    assert found.low < (found.value or 0) < found.high


def test_it_ends_an_open_range_at_tenfold_its_start() -> None:
    found = score("bankside", Count("mayfly", low=1000))
    assert found.low == score("bankside", Count("mayfly", 1000)).value
    assert found.high == score("bankside", Count("mayfly", 9999)).value


def test_it_has_no_value_for_a_group_without_a_number() -> None:
    found = score("bankside", Count("mayfly"), Count("midge", 3))
    assert (found.value, found.low) == (None, None)
    assert "not recorded for: mayfly" in found.why_none
    assert [group for group, _ in found.parts] == ["Chironomidae"]


def test_it_cares_not_for_a_number_missing_outside_its_groups() -> None:
    assert score_sample([Count("Gammaridae"), Count("mayfly", 9)])["bankside"].value == pytest.approx(3.375)
