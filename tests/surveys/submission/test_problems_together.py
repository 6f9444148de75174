"""One look at a form tells everything: what cannot be read, and what is wrong with the rest of it."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from surveys.models import Visit
from surveys.services.drafts import start_visit
from surveys.services.review import return_visit
from surveys.services.saving import all_problems
from surveys.submission import InvalidSubmission, parse_submission
from tests.conftest import Cast
from tests.factories import data_for, submit
from tests.surveys.api.conftest import address as api_address
from tests.surveys.pages import address, post_of, signed_in

BAD_TIMES = {"started_at": "11:00", "ended_at": "10:00"}
BAD_SPOT = {"number": 2, "kicks": "three", "seconds": "30"}
GOOD_SPOT = {"number": 1, "kicks": "3", "seconds": "30"}
IMPOSSIBLE = {"temperature": {"value": "warm"}, "ph": {"value": "74"}}


def problems(cast: Cast, **changes: Any) -> dict[str, str]:
    """Field and rule of all that is wrong; the submission must be one that cannot be read whole."""
    with pytest.raises(InvalidSubmission) as refused:
        parse_submission(data_for(cast.site) | changes)
    return {each.field: each.rule for each in all_problems(refused.value, cast.site)}


def test_it_tells_a_rule_beside_what_cannot_be_read(cast: Cast) -> None:
    assert problems(cast, **BAD_TIMES, measurements=IMPOSSIBLE) == {
        "measurements.temperature": "unreadable",
        "measurements.ph": "impossible_reading",
        "ended_at": "end_before_start",
    }


def test_it_checks_the_rows_that_can_be_read(cast: Cast) -> None:
    spots = [GOOD_SPOT | {"depth_cm": "400"}, BAD_SPOT]
    assert problems(cast, spots=spots) == {"spots.2.kicks": "unreadable", "spots.1.depth_cm": "depth_range"}


def test_it_checks_the_rest_without_a_day_and_says_nothing_more_of_the_day(cast: Cast) -> None:
    cast.site.opened_on = date(2999, 1, 1)
    assert problems(cast, visited_on="", **BAD_TIMES) == {
        "visited_on": "missing",
        "ended_at": "end_before_start",
    }


@pytest.mark.parametrize(
    "counts",
    [[{"taxon": "Baetidae", "count": "many"}], [{"taxon": "Nobody", "count": "1", "whole_tray": True}]],
)
def test_it_never_says_that_nothing_is_counted_where_a_count_cannot_be_read(
    cast: Cast, counts: list[Any]
) -> None:
    assert "counts" not in problems(cast, counts=counts)


def test_it_says_nothing_twice(cast: Cast) -> None:
    found = problems(cast, recorder="somebody", partner=str(uuid4()))
    assert found == {"recorder": "unreadable", "partner": "not_a_member"}


@pytest.mark.parametrize("changes", [{"was_made": "perhaps"}, {"id": "one"}, {"site": ""}])
def test_it_leaves_the_rest_alone_where_too_much_is_missing(cast: Cast, changes: dict[str, Any]) -> None:
    """Without knowing whether it was made, every count could be right or wrong."""
    assert list(problems(cast, **changes, **BAD_TIMES)) == list(changes)


def test_it_adds_nothing_to_a_refusal_by_rules(cast: Cast) -> None:
    refusal = InvalidSubmission([])
    assert all_problems(refusal, cast.site) == ()


class TestPages:
    def mistakes(self, answer: Any) -> set[str]:
        assert answer.status_code == 422
        return {mistake.target for mistake in answer.context["entry"].mistakes}

    def typed(self, cast: Cast) -> dict[str, str]:
        recorder = str(cast.volunteer.pk)
        return post_of(data_for(cast.site, **BAD_TIMES, counts={"Baetidae": "many"}, recorder=recorder))

    def test_it_marks_all_of_it_on_the_visit_form(self, cast: Cast) -> None:
        draft = start_visit(person=cast.person("volunteer"), site=cast.site)
        place = address("visit_submit", cast.group, draft_id=draft.pk)
        found = self.mistakes(signed_in(cast.volunteer).post(place, self.typed(cast)))
        assert "id_ended_at" in found
        assert any("baetidae" in target for target in found)

    def test_it_marks_what_only_a_page_can_get_wrong_as_well(self, cast: Cast) -> None:
        draft = start_visit(person=cast.person("volunteer"), site=cast.site)
        data = data_for(cast.site, **BAD_TIMES, recorder=cast.volunteer.pk)
        post = post_of(data) | {"other-1-name": "Asellidae"}
        place = address("visit_submit", cast.group, draft_id=draft.pk)
        found = self.mistakes(signed_in(cast.volunteer).post(place, post))
        assert "id_ended_at" in found
        assert any("asellidae" in target for target in found)

    @pytest.mark.parametrize(("form", "who"), [("visit_mend", "volunteer"), ("visit_correct", "coordinator")])
    def test_it_marks_all_of_it_on_a_revision(self, cast: Cast, form: str, who: str) -> None:
        visit = submit(cast.person("volunteer"), cast.site)
        return_visit(person=cast.person("coordinator"), visit=visit, message="Look again.")
        place = address(form, cast.group, visit_id=visit.pk)
        post = self.typed(cast) | {"reason": "Asked."}
        found = self.mistakes(signed_in(getattr(cast, who)).post(place, post))
        assert "id_ended_at" in found
        assert any("baetidae" in target for target in found)


def test_it_tells_programs_all_of_it_too(cast: Cast) -> None:
    client = APIClient()
    client.force_login(cast.volunteer)
    data = data_for(cast.site, **BAD_TIMES, measurements=IMPOSSIBLE)
    answer: Any = client.put(api_address("visits", data["id"]), data, format="json")
    assert answer.status_code == 422
    assert {each["rule"] for each in answer.json()["problems"]} == {
        "unreadable",
        "impossible_reading",
        "end_before_start",
    }
    assert not Visit.objects.of_group(cast.group).exists()


def test_it_tells_programs_nothing_of_another_groups_site(cast: Cast) -> None:
    client = APIClient()
    client.force_login(cast.volunteer)
    data = data_for(cast.neighbour_site, **BAD_TIMES, measurements=IMPOSSIBLE)
    answer: Any = client.put(api_address("visits", data["id"]), data, format="json")
    assert {each["rule"] for each in answer.json()["problems"]} == {"unreadable"}
