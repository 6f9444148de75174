"""Submitting a visit by program: idempotent, checked like the form, refused field by field."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from surveys.models import Visit
from surveys.models.visits import Source
from tests.conftest import Cast
from tests.factories import MembershipFactory, SiteFactory, data_for, submit
from tests.surveys.api.conftest import ClientOf, address


def put(client: APIClient, data: dict[str, Any], number: str = "", slug: str = "alder-beck") -> Any:
    return client.put(address("visits", number or data["id"], slug=slug), data, format="json")


def fields(answer: Any) -> list[str]:
    return [problem["field"] for problem in answer.json()["problems"]]


def test_it_takes_a_visit_and_answers_with_its_scores(cast: Cast, client_of: ClientOf) -> None:
    data = data_for(cast.site)
    answer = put(client_of("volunteer"), data)
    assert answer.status_code == 201
    assert answer["Location"] == address("visits", data["id"])
    assert {score["index"]: score["value"] for score in answer.json()["scores"]}["bmwp"] == 48
    visit = Visit.objects.of_group(cast.group).get()
    assert (str(visit.pk), visit.source, visit.entered_by_id) == (data["id"], Source.API, cast.volunteer.pk)
    assert (visit.recorder_id, visit.is_past_record) == (cast.volunteer.pk, False)


def test_it_answers_a_resend_with_the_first_result(cast: Cast, client_of: ClientOf) -> None:
    client, data = client_of("volunteer"), data_for(cast.site)
    first = put(client, data)
    again = put(client, data | {"counts": [{"taxon": "Baetidae", "count": 1}]})
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert Visit.objects.of_group(cast.group).count() == 1


def test_it_takes_the_number_from_the_address(cast: Cast, client_of: ClientOf) -> None:
    data, number = data_for(cast.site), str(uuid4())
    del data["id"]
    assert put(client_of("volunteer"), data, number).status_code == 201
    assert Visit.objects.of_group(cast.group).filter(pk=number).exists()


def test_it_takes_numbers_as_json_numbers_too(cast: Cast, client_of: ClientOf) -> None:
    data = data_for(cast.site, counts=[{"taxon": "Baetidae", "count": 12}], measurements={"ph": {"value": 7.9}})
    answer = put(client_of("volunteer"), data)
    assert answer.status_code == 201
    assert answer.json()["submission"]["measurements"]["ph"]["value"] == "7.9"


def test_it_refuses_a_number_that_is_not_the_one_in_the_address(cast: Cast, client_of: ClientOf) -> None:
    answer = put(client_of("volunteer"), data_for(cast.site), str(uuid4()))
    assert (answer.status_code, fields(answer)) == (422, ["id"])


def test_it_lists_every_error_with_the_path_of_its_field(cast: Cast, client_of: ClientOf) -> None:
    data = data_for(
        cast.site,
        visited_on="soon",
        counts=[{"taxon": "Beatidae", "count": 3}, {"taxon": "Elmidae", "count": "many"}],
        measurements={"ph": {"value": "acid"}},
    )
    data["spots"][1]["seconds"] = "long"
    answer = put(client_of("volunteer"), data)
    assert answer.status_code == 422
    assert answer["Content-Type"] == "application/problem+json"
    assert sorted(fields(answer)) == [
        "counts.Beatidae",
        "counts.Elmidae",
        "measurements.ph",
        "spots.2.seconds",
        "visited_on",
    ]
    body = answer.json()
    assert (body["type"], body["title"], body["status"]) == ("about:blank", "Unprocessable Entity", 422)
    assert {problem["rule"] for problem in body["problems"]} >= {"unknown_taxon", "unreadable"}
    assert all(problem["message"] for problem in body["problems"])
    assert not Visit.objects.of_group(cast.group).exists()


def test_it_applies_the_rules_of_the_form(cast: Cast, client_of: ClientOf) -> None:
    answer = put(client_of("volunteer"), data_for(cast.site, measurements={"ph": {"value": "74"}}))
    assert (answer.status_code, fields(answer)) == (422, ["measurements.ph"])


def test_it_answers_409_when_the_number_is_somebody_elses(cast: Cast, client_of: ClientOf) -> None:
    taken = submit(cast.person("other_volunteer"), cast.site)
    elsewhere = submit(cast.person("neighbour_volunteer"), cast.neighbour_site)
    for visit in (taken, elsewhere):
        answer = put(client_of("volunteer"), data_for(cast.site, id=str(visit.pk)))
        assert answer.status_code == 409
        assert answer.json()["title"] == "Conflict"
        assert [problem["rule"] for problem in answer.json()["problems"]] == ["number_taken"]
        assert "scores" not in answer.json()
    taken.refresh_from_db()
    assert taken.entered_by_id == cast.other_volunteer.pk


@pytest.mark.parametrize("site", ["neighbour", "unknown"])
def test_it_refuses_a_site_that_is_not_the_groups(cast: Cast, client_of: ClientOf, site: str) -> None:
    wrong = cast.neighbour_site.pk if site == "neighbour" else uuid4()
    answer = put(client_of("volunteer"), data_for(cast.site) | {"site": str(wrong)})
    assert (answer.status_code, fields(answer)) == (422, ["site"])


def test_it_refuses_a_site_of_ones_other_group_under_this_address(cast: Cast, client_of: ClientOf) -> None:
    MembershipFactory(group=cast.neighbour, user=cast.volunteer)
    answer = put(client_of("volunteer"), data_for(cast.neighbour_site))
    assert (answer.status_code, fields(answer)) == (422, ["site"])
    assert put(client_of("volunteer"), data_for(cast.neighbour_site), slug="withy-brook").status_code == 201


@pytest.mark.parametrize("who", ["neighbour_coordinator", "stranger"])
def test_it_tells_strangers_nothing(cast: Cast, client_of: ClientOf, who: str) -> None:
    answer = put(client_of(who), data_for(cast.site))
    assert answer.status_code == 404
    broken = put(client_of(who), {"id": str(uuid4()), "site": "nonsense"})
    assert (broken.status_code, broken.json()["problems"]) == (404, [])


def test_it_takes_nothing_from_nobody(cast: Cast) -> None:
    answer = put(APIClient(), data_for(cast.site))
    assert (answer.status_code, answer["Content-Type"]) == (401, "application/problem+json")
    assert not Visit.objects.of_group(cast.group).exists()


def test_it_takes_nothing_without_the_token_against_forged_requests(cast: Cast) -> None:
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(cast.volunteer)
    answer = put(client, data_for(cast.site))
    assert answer.status_code == 403
    assert "CSRF" in answer.json()["detail"]
    assert [problem["rule"] for problem in answer.json()["problems"]] == ["stale_token"]


@pytest.mark.parametrize("body", ["[]", '"visit"', "3"])
def test_it_wants_an_object(cast: Cast, client_of: ClientOf, body: str) -> None:
    answer = client_of("volunteer").put(address("visits", uuid4()), body, content_type="application/json")
    assert (answer.status_code, fields(answer)) == (400, ["request"])


def test_it_says_that_json_is_broken(cast: Cast, client_of: ClientOf) -> None:
    answer = client_of("volunteer").put(address("visits", uuid4()), "{", content_type="application/json")
    assert (answer.status_code, answer.json()["title"]) == (400, "Bad Request")
    assert answer["Content-Type"] == "application/problem+json"


def test_it_says_which_methods_an_address_takes(cast: Cast, client_of: ClientOf) -> None:
    answer = client_of("volunteer").delete(address("visits", uuid4()))
    assert (answer.status_code, answer["Allow"]) == (405, "GET, PUT, HEAD, OPTIONS")


def test_it_takes_a_visit_that_could_not_be_made(cast: Cast, client_of: ClientOf) -> None:
    data = {
        "site": str(cast.site.pk),
        "was_made": False,
        "not_made_reason": "too_high",
        "visited_on": "2024-05-03",
    }
    answer = put(client_of("volunteer"), data, str(uuid4()))
    assert (answer.status_code, answer.json()["scores"]) == (201, [])


def test_it_takes_visits_for_any_site_of_the_group(cast: Cast, client_of: ClientOf) -> None:
    other = SiteFactory(group=cast.group, code="AB2")
    assert put(client_of("other_volunteer"), data_for(other)).status_code == 201


def test_it_takes_a_share_of_the_tray_and_reads_it_back(cast: Cast, client_of: ClientOf) -> None:
    counts = [
        {"taxon": "Baetidae", "count": 12},
        {"taxon": "Elmidae", "present": True},
        {"taxon": "Perlidae", "count": 2, "whole_tray": True},
    ]
    answer = put(client_of("volunteer"), data_for(cast.site, fraction_sorted="1/4", counts=counts))
    assert answer.status_code == 201
    submission = answer.json()["submission"]
    assert submission["fraction_sorted"] == "1/4"
    assert submission["counts"][1:] == [
        {"taxon": "Elmidae", "recorded_as": "", "present": True},
        {"taxon": "Perlidae", "recorded_as": "", "count": "2", "whole_tray": True},
    ]


def test_it_names_the_field_of_a_fraction_that_is_none(cast: Cast, client_of: ClientOf) -> None:
    answer = put(client_of("volunteer"), data_for(cast.site, fraction_sorted="5/4"))
    assert (answer.status_code, fields(answer)) == (422, ["fraction_sorted"])
