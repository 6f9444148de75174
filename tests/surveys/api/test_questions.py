"""Questions about a visit, and one's own places on the rota, by program."""

from __future__ import annotations

import pytest

from surveys.rota.models import Assignment
from tests.conftest import Cast
from tests.factories import days_ago, submit
from tests.rota.making import plan, put_on
from tests.surveys.api.conftest import ClientOf, address

pytestmark = pytest.mark.django_db


def test_a_question_is_asked_and_answered_once(cast: Cast, client_of: ClientOf) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    place = address("visits", visit.pk, "questions")
    asked = client_of("coordinator").post(place, {"question": "Did you see the gills?"}, format="json")
    assert (asked.status_code, asked.json()["asked_of"]) == (201, str(cast.volunteer.pk))
    answer = address("questions", asked.json()["id"], "answer")
    assert client_of("coordinator").post(answer, {"answer": "Yes."}, format="json").status_code == 403
    empty = client_of("volunteer").post(answer, {"answer": " "}, format="json")
    assert (empty.status_code, empty.json()["problems"][0]["field"]) == (422, "answer")
    assert client_of("volunteer").post(answer, {"answer": "Yes."}, format="json").status_code == 200
    assert client_of("volunteer").post(answer, {"answer": "No."}, format="json").status_code == 409
    (shown,) = client_of("volunteer").get(place).json()
    assert (shown["question"], shown["answer"]) == ("Did you see the gills?", "Yes.")


def test_own_places_are_told_and_answered(cast: Cast, client_of: ClientOf) -> None:
    place = put_on(plan(cast.site, days_ago(-5)), cast.volunteer)
    put_on(plan(cast.site, days_ago(-9)), cast.other_volunteer)
    (own,) = client_of("volunteer").get(address("places")).json()
    assert (own["id"], own["site_code"], own["state"]) == (str(place.pk), "AB1", "asked")
    assert client_of("coordinator").post(address("places", place.pk, "accept")).status_code == 403
    assert client_of("volunteer").post(address("places", place.pk, "accept")).json()["state"] == "accepted"
    assert client_of("volunteer").post(address("places", place.pk, "decline")).json()["state"] == "declined"
    assert client_of("volunteer").get(address("places")).json() == []
    assert Assignment.objects.of_group(cast.group).get(pk=place.pk).answered_at


def test_a_place_on_a_day_that_is_past_is_not_answered_for(cast: Cast, client_of: ClientOf) -> None:
    place = put_on(plan(cast.site, days_ago(5)), cast.volunteer)
    refused = client_of("volunteer").post(address("places", place.pk, "accept"))
    assert (refused.status_code, refused.json()["problems"][0]["rule"]) == (409, "not_possible")
