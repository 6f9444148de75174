"""A position as submission data: told whole, told the right way round, and kept back whole."""

from __future__ import annotations

import pytest
from rest_framework.serializers import ValidationError

from surveys.models.visits import ROUGHEST_M
from surveys.places.locations import parse_location
from surveys.submission.placing import (
    POSITION_FIELDS,
    position_data,
    position_from,
    position_text,
    without_position,
)
from surveys.submission.types import Position

HERE = Position(54.12346, -2.34568, 12, "phone")


@pytest.mark.parametrize(
    ("place", "text"),
    [
        ((54.12346, -2.34568), "54.12346 N, 2.34568 W"),
        ((-33.5, 151.2), "33.50000 S, 151.20000 E"),
        ((51.5, 0.0), "51.50000 N, 0.00000 E"),
    ],
)
def test_a_place_cannot_be_read_the_wrong_way_round(place: tuple[float, float], text: str) -> None:
    assert position_text(*place) == text
    read = parse_location(text)
    assert (read.latitude, read.longitude) == place


def test_whoever_may_not_see_the_place_gets_no_part_of_it() -> None:
    visit = {"site": "AB1", "notes": "sheep at the ford", **position_data(HERE)}
    told = without_position(visit)
    assert told == {"site": "AB1", "notes": "sheep at the ford", **dict.fromkeys(POSITION_FIELDS, "")}
    assert visit["position"], "what was handed over is left as it was"


@pytest.mark.parametrize("position", [HERE, Position(54.1, -2.3, None, "photo"), None])
def test_what_is_told_is_read_back_as_it_was(position: Position | None) -> None:
    data = position_data(position)
    place = parse_location(data["position"]) if data["position"] else None
    accuracy = int(data["position_accuracy_m"]) if data["position_accuracy_m"] else None
    assert position_from(place, accuracy, data["position_source"]) == position


@pytest.mark.parametrize(("accuracy", "source"), [(12, None), (None, "phone"), (0, "")])
def test_how_a_place_is_known_says_nothing_without_the_place(accuracy: int | None, source: str | None) -> None:
    with pytest.raises(ValidationError, match="Say where it was"):
        position_from(None, accuracy, source)


def test_what_is_typed_is_as_exact_as_it_was_written() -> None:
    place = parse_location("54.123 N, 2.346 W")
    typed, phone = position_from(place, None, None), position_from(place, None, "phone")
    assert typed
    assert phone
    assert (typed.accuracy_m, typed.source) == (place.precision_m, "typed")
    assert phone.accuracy_m is None


def test_a_place_that_could_be_anywhere_is_refused() -> None:
    place = parse_location("54.12346 N, 2.34568 W")
    assert position_from(place, ROUGHEST_M, "phone")
    with pytest.raises(ValidationError, match="only exact to"):
        position_from(place, ROUGHEST_M + 1, "phone")
