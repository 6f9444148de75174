"""What is read without fields, or by a reader that is kept, is read and refused as by all of the fields."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.utils import translation
from hypothesis import given, settings
from hypothesis import strategies as st
from rest_framework.serializers import ValidationError

from surveys.models import Site
from surveys.submission import InvalidSubmission, parse_submission
from surveys.submission.serializers import EntrySerializer, SpotSerializer, _spot_read, plain_line
from tests.factories import data_for

NAMES = [
    "Baetidae",
    "baetidae ",
    "Baetis rhodani",
    "freshwater shrimp",
    "No such thing",
    "",
    " ",
    "Baetidae\x00",
]
odd_names = st.sampled_from([*NAMES, "Elmidae\ud800", "x" * 121, "\u00a0Elmidae", "Baetis\tsp."]) | st.text(
    max_size=12
)
odd_counts = (
    st.sampled_from(["0", "007", " 12 ", "1000000", "1000001", "999999", "1.0", "-1", "", "1e3", "٣", "12\n"])
    | st.integers(-2, 2_000_000)
    | st.booleans()
    | st.none()
    | st.text("0123456789,.", max_size=8)
)
lines = st.fixed_dictionaries(
    {},
    optional={
        "taxon": odd_names | st.integers(0, 3) | st.none(),
        "count": odd_counts,
        "whole_tray": st.booleans(),
        "recorded_as": odd_names,
    },
)


@pytest.fixture
def site() -> Site:
    """A site that needs no database."""
    return Site(name="Stepping stones")


@settings(max_examples=400, deadline=None)
@given(lines | st.text(max_size=3) | st.none())
def test_a_plain_line_is_read_as_by_its_fields_or_left_to_them(line: Any) -> None:
    found = plain_line(line)
    if found is not None:
        assert found == dict(EntrySerializer().run_validation(line))


@pytest.mark.parametrize("taxon", NAMES[:4])
def test_what_nearly_every_line_says_needs_no_fields(taxon: str) -> None:
    assert plain_line({"taxon": taxon, "count": "12"}) is not None


@pytest.mark.parametrize(
    "line", [{"taxon": "Nothing known", "count": "1"}, {"taxon": "Baetidae", "count": "x"}]
)
def test_what_is_wrong_with_a_line_is_for_its_fields_to_say(line: dict[str, str]) -> None:
    assert plain_line(line) is None
    with pytest.raises(ValidationError):
        EntrySerializer().run_validation(line)


def words(site: Site) -> str:
    with pytest.raises(InvalidSubmission) as refused:
        parse_submission(data_for(site, spots=[{"number": 1, "kicks": "0", "seconds": "30"}]))
    (problem,) = refused.value.problems
    assert problem.field == "spots.1.kicks"
    return problem.message


def test_each_refusal_is_in_the_language_of_its_moment(site: Site) -> None:
    """A message that counts is made once and kept by whoever makes it; the reader that is kept must not."""
    with translation.override("de"):
        german = words(site)
    with translation.override("en"):
        assert words(site) == "This cannot be less than 1." != german
    with translation.override("de"):
        assert words(site) == german


def test_what_was_refused_leaves_nothing_behind(site: Site) -> None:
    sound = data_for(site)
    first = parse_submission(sound)
    words(site)
    assert parse_submission(sound) == first
    assert parse_submission(data_for(site, id=sound["id"], notes="Sheep.")).notes == "Sheep."
    assert parse_submission(sound) == first


def test_threads_read_beside_one_another(site: Site) -> None:
    said = [data_for(site, notes=f"visit {number}", counts={"Baetidae": number}) for number in range(1, 9)]
    with ThreadPoolExecutor(4) as threads:
        read = list(threads.map(lambda each: [parse_submission(each) for _turn in range(20)], said))
    for number, found in enumerate(read, start=1):
        assert {(each.notes, each.counts[0].count) for each in found} == {(f"visit {number}", number)}


KICKED = {"number": 1, "kicks": "3", "seconds": "30", "depth_cm": "20", "flow_type": "riffle"}


@pytest.mark.parametrize(
    "changes",
    [{"kicks": True}, {"kicks": 3.0}, {"kicks": ""}, {"kicks": None}, {"seconds": 30}, {"seconds": "30,0"}, {}],
)
def test_a_spot_is_read_by_itself_whatever_was_read_before(changes: dict[str, Any]) -> None:
    """1, True and 1.0 are equal to Python, and not what a volunteer wrote."""
    first = read([KICKED])
    for spot in (KICKED | {"kicks": 1}, KICKED | changes):
        assert read([spot]) == read([spot], alone=True)
    assert read([KICKED]) == first
    # Whoever changes what was read for them changes it for nobody else.
    first[0]["kicks"] = 99
    assert read([KICKED])[0]["kicks"] == 3


def read(spots: list[Any], *, alone: bool = False) -> Any:
    """What is made of spots, or of why they are refused; `alone` by a reader that remembers nothing."""
    try:
        if alone:
            return [dict(SpotSerializer().run_validation(each)) for each in spots]
        return SpotSerializer(many=True).run_validation(spots)
    except ValidationError as refused:
        detail: Any = refused.detail
        return detail if alone else detail[0]


def test_what_is_remembered_is_small() -> None:
    before = _spot_read.cache_info().currsize
    long: list[dict[str, Any]] = [{"seconds": "30" + " " * 1000}, {"x" * 1000: "1"}, {"timed": []}]
    for number in range(1, 20):
        for odd in long:
            read([KICKED | {"number": number} | odd])
    assert _spot_read.cache_info().currsize == before
