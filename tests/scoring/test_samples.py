"""Counts, ranges and presence: what a line of a record may say, and what several lines add up to."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scoring.samples import ABUNDANCE_RANGES, Amount, Count, amount_of, range_of, read_sample, stand_in


def test_it_takes_a_count_a_range_an_open_range_and_mere_presence() -> None:
    assert amount_of(Count("Baetidae", 7)) == Amount(7, 7, 7)
    assert amount_of(Count("Baetidae", low=10, high=99)) == Amount(10, 33, 99)
    assert amount_of(Count("Baetidae", low=1000)) == Amount(1000, 3333, math.inf)
    assert amount_of(Count("Baetidae")) == Amount(1, None, math.inf)


@pytest.mark.parametrize(
    ("count", "low", "high", "problem"),
    [
        (-1, None, None, "below 0"),
        (3, 1, 9, "either a count or a range"),
        (3, None, 9, "either a count or a range"),
        (None, None, 9, "no lower limit"),
        (None, 0, 9, "starts below 1"),
        (None, 10, 9, "ends below its start"),
    ],
)
def test_it_refuses_a_line_that_says_nothing_clear(
    count: int | None, low: int | None, high: int | None, problem: str
) -> None:
    with pytest.raises(ValueError, match=f"Baetidae: .*{problem}"):
        Count("Baetidae", count, low, high)


@pytest.mark.parametrize("taxon", ["", "  "])
def test_it_refuses_a_blank_taxon(taxon: str) -> None:
    with pytest.raises(ValueError, match="the taxon is blank"):
        Count(taxon, 3)


def test_it_calls_only_a_zero_absent() -> None:
    assert not Count("Baetidae", 0).is_present
    assert Count("Baetidae", 1).is_present
    assert Count("Baetidae").is_present
    assert Count("Baetidae", low=1, high=9).is_present


@pytest.mark.parametrize("number", [0, -3])
def test_it_has_no_range_for_less_than_one_animal(number: int) -> None:
    with pytest.raises(ValueError, match="at least one"):
        range_of(number)


@given(st.integers(1, 10**7))
def test_it_puts_every_number_into_the_one_range_that_holds_it(number: int) -> None:
    low, high = range_of(number)
    assert low <= number <= (high or number)
    assert sum(start <= number and (end is None or number <= end) for start, end in ABUNDANCE_RANGES) == 1


def test_it_joins_lines_of_one_name_whatever_case_and_spaces() -> None:
    sample = read_sample([Count("Baetis  sp", 3), Count("baetis sp", 4), Count("Caenis", 2)])
    assert dict(sample) == {"Baetis sp": Amount(7, 7, 7), "Caenis": Amount(2, 2, 2)}


def test_it_keeps_two_names_of_one_family_apart() -> None:
    assert list(read_sample([Count("Baetis sp", 3), Count("Baetis rhodani", 4)])) == [
        "Baetis rhodani",
        "Baetis sp",
    ]


def test_it_leaves_absent_taxa_out() -> None:
    assert read_sample([Count("Baetidae", 0), Count("Caenidae", 2)]).keys() == {"Caenidae"}


def test_it_adds_a_count_to_a_range() -> None:
    sample = read_sample([Count("Baetidae", 5), Count("Baetidae", low=10, high=99)])
    assert sample["Baetidae"] == Amount(15, 38, 104)


def test_it_does_not_know_the_sum_when_one_number_is_unknown() -> None:
    sample = read_sample([Count("Baetidae", 5), Count("Baetidae")])
    assert sample["Baetidae"] == Amount(6, None, math.inf)


def test_it_takes_the_geometric_mean_for_a_range_of_another_kind() -> None:
    assert stand_in(20, 45) == pytest.approx(30)
    assert stand_in(600, None) == pytest.approx(2000)


@given(st.integers(1, 10**6), st.integers(0, 10**6))
def test_it_takes_a_number_inside_the_range(low: int, width: int) -> None:
    assert low <= stand_in(low, low + width) <= low + width or stand_in(low, low + width) == pytest.approx(low)
    assert stand_in(low, None) >= low


def test_it_knows_an_exact_amount() -> None:
    assert Amount(3, 3, 3).is_exact
    assert not Amount(1, 3, 9).is_exact
