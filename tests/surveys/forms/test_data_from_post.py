"""The flat names of the page become the nested data of a submission, and nothing typed is lost on the way."""

from __future__ import annotations

from typing import Any

import pytest
from django.http import QueryDict

from surveys.forms import data_from_post


def posted(**fields: str) -> dict[str, Any]:
    return data_from_post(fields)


def test_it_reads_the_plain_fields_without_outer_blanks() -> None:
    data = posted(visited_on=" 2026-05-03 ", notes=" murky\nbelow the ford ")
    assert data["visited_on"] == "2026-05-03"
    assert data["notes"] == "murky\nbelow the ford"
    assert data["weather"] == ""


def test_it_takes_a_visit_for_made_unless_told_otherwise() -> None:
    assert posted()["was_made"] is True
    assert posted(was_made="yes")["was_made"] is True
    assert posted(was_made="no")["was_made"] is False


def test_it_gathers_the_parts_of_each_spot_in_the_order_of_their_numbers() -> None:
    data = data_from_post(
        {
            "spots-10-kicks": "1",
            "spots-2-kicks": "3",
            "spots-2-seconds": "31",
            "spots-2-flow_type": "riffle",
            "spots-2-depth_cm": "20",
        }
    )
    assert data["spots"] == [
        {"number": 2, "flow_type": "riffle", "kicks": "3", "seconds": "31", "depth_cm": "20"},
        {"number": 10, "flow_type": "", "kicks": "1", "seconds": "", "depth_cm": ""},
    ]


def test_it_leaves_out_a_spot_that_was_cleared() -> None:
    assert data_from_post({"spots-1-kicks": "", "spots-1-seconds": " "})["spots"] == []


def test_it_passes_over_names_that_are_no_spot() -> None:
    assert data_from_post({"spots-first-kicks": "3", "spots-": "1"})["spots"] == []


def test_it_keeps_a_reading_as_typed_with_its_unit() -> None:
    data = data_from_post(
        {
            "measurements-phosphate-value": "<0.05",
            "measurements-phosphate-unit": "mg/L P",
            "measurements-ph-value": "7,9",
        }
    )
    assert data["measurements"] == {"phosphate": {"value": "<0.05", "unit": "mg/L P"}, "ph": {"value": "7,9"}}


def test_it_takes_a_unit_without_a_value_for_nothing_measured() -> None:
    assert data_from_post({"measurements-nitrate-unit": "mg/L N"})["measurements"] == {}


@pytest.mark.parametrize(
    ("fields", "entry"),
    [
        ({"counts-Baetidae-count": "12"}, {"count": "12"}),
        ({"counts-Baetidae-range": "10-99"}, {"range": "10-99"}),
        ({"counts-Baetidae-none": "on"}, {"count": "0"}),
        ({"counts-Baetidae-count": "12", "counts-Baetidae-range": "1-9"}, {"count": "12", "range": "1-9"}),
        ({"counts-Baetidae-count": "12", "counts-Baetidae-none": "on"}, {"count": "12", "none": True}),
        ({"counts-Baetidae-range": "1-9", "counts-Baetidae-none": "on"}, {"range": "1-9", "none": True}),
    ],
)
def test_it_keeps_every_way_of_counting(fields: dict[str, str], entry: dict[str, Any]) -> None:
    assert data_from_post(fields)["counts"] == [{"taxon": "Baetidae", "recorded_as": "", **entry}]


def test_it_leaves_out_a_taxon_nobody_looked_for() -> None:
    assert data_from_post({"counts-Baetidae-count": "", "counts-Baetidae-range": ""})["counts"] == []


def test_it_reads_a_taxon_whose_name_holds_a_hyphen_or_a_blank() -> None:
    data = data_from_post({"counts-Non-biting midges-count": "4"})
    assert data["counts"] == [{"taxon": "Non-biting midges", "recorded_as": "", "count": "4"}]


def test_it_keeps_the_finer_name_that_a_record_had() -> None:
    data = data_from_post({"counts-Baetidae-count": "4", "counts-Baetidae-as": "Baetis rhodani"})
    assert data["counts"][0]["recorded_as"] == "Baetis rhodani"


def test_it_adds_the_other_taxa_after_the_listed_ones() -> None:
    data = data_from_post(
        {"other-1-name": "Hydra", "other-1-count": "3", "other-2-name": "", "counts-Elmidae-count": "1"}
    )
    assert [entry["taxon"] for entry in data["counts"]] == ["Elmidae", "Hydra"]


def test_it_keeps_another_taxon_of_which_only_the_name_or_only_the_number_was_typed() -> None:
    data = data_from_post({"other-1-name": "Hydra", "other-2-count": "3"})
    assert data["counts"] == [
        {"taxon": "Hydra", "recorded_as": ""},
        {"taxon": "", "recorded_as": "", "count": "3"},
    ]


def test_it_reads_what_django_gives_it() -> None:
    post = QueryDict("visited_on=2026-05-03&spots-1-kicks=3&csrfmiddlewaretoken=abc&send=1")
    data = data_from_post(post)
    assert data["spots"][0]["kicks"] == "3"
    assert not {"csrfmiddlewaretoken", "send"} & set(data)


@pytest.mark.parametrize("number", ["100", "1000000", "9" * 5000, "²", "-1", ""])
def test_it_knows_no_spot_that_the_page_cannot_have(number: str) -> None:
    """A made-up number would have the form draw as many rows, or stop the program that reads it."""
    assert data_from_post({f"spots-{number}-kicks": "3"})["spots"] == []
    assert data_from_post({"spots-99-kicks": "3"})["spots"][0]["number"] == 99
