"""Reading groups, sites, lists and visits by program."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from surveys.models import RecordingList
from tests.conftest import Cast
from tests.factories import SiteFactory, VisitFactory, days_ago, submit
from tests.surveys.api.conftest import ClientOf, address

PAGES = ("sites", "lists", "visits")


def test_it_lists_ones_own_groups_with_the_role_in_each(cast: Cast, client_of: ClientOf) -> None:
    answer = client_of("coordinator").get("/api/v1/groups/")
    assert answer.json() == [
        {"id": str(cast.group.pk), "slug": "alder-beck", "name": "Alder Beck Watch", "role": "coordinator"}
    ]
    assert client_of("stranger").get("/api/v1/groups/").json() == []


def test_it_lists_the_sites_of_the_group_with_their_place_and_plan(cast: Cast, client_of: ClientOf) -> None:
    answer = client_of("volunteer").get(address("sites")).json()
    (site,) = answer["results"]
    assert (answer["count"], site["id"], site["code"]) == (1, str(cast.site.pk), "AB1")
    assert (site["latitude"], site["longitude"], site["grid_reference"]) == (54.5, -2.5, "NY 6771 1174")
    assert (site["spots"], site["kicks_per_spot"], site["seconds_per_kick"]) == (3, 3, 10)
    assert "group" not in site


def test_it_gives_no_grid_reference_abroad(cast: Cast, client_of: ClientOf) -> None:
    SiteFactory(group=cast.group, code="ZZ", latitude=48.0, longitude=5.0)
    sites = client_of("volunteer").get(address("sites")).json()["results"]
    assert [site["grid_reference"] is None for site in sites] == [False, True]


def test_it_lists_the_lists_in_use_and_no_other_groups(cast: Cast, client_of: ClientOf) -> None:
    RecordingList.objects.create(group=cast.group, slug="ours", name="Ours", level="group")
    RecordingList.objects.create(group=cast.neighbour, slug="theirs", name="Theirs", level="group")
    RecordingList.objects.create(
        group=cast.group, slug="old", name="Old", level="group", retired_at="2020-01-01T00:00Z"
    )
    lists = client_of("volunteer").get(address("lists")).json()["results"]
    assert "ours" in {each["slug"] for each in lists}
    assert {"theirs", "old"}.isdisjoint(each["slug"] for each in lists)
    families = next(each for each in lists if each["slug"] == "family")
    assert "Baetidae" in {taxon["taxon"] for taxon in families["taxa"]}


def test_it_lists_visits_newest_first_with_their_present_scores(cast: Cast, client_of: ClientOf) -> None:
    old = submit(cast.person("volunteer"), cast.site, visited_on=days_ago(40).isoformat())
    new = submit(cast.person("volunteer"), cast.site, visited_on=days_ago(3).isoformat())
    visits = client_of("volunteer").get(address("visits")).json()["results"]
    assert [visit["id"] for visit in visits] == [str(new.pk), str(old.pk)]
    scores = {score["index"]: score["value"] for score in visits[0]["scores"]}
    assert (scores["bmwp"], scores["ntaxa"]) == (48, 7)
    assert (visits[0]["status"], visits[0]["visited_on"]) == ("waiting", days_ago(3).isoformat())


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({}, [0, 1, 2]),
        ({"status": "approved"}, []),
        ({"status": "waiting"}, [0, 1, 2]),
        ({"was_made": "true"}, [0, 1]),
        ({"was_made": "false"}, [2]),
        ({"since": "2024-02-01"}, [1, 2]),
        ({"until": "2024-02-01"}, [0, 1]),
        ({"since": "2024-02-01", "until": "2024-02-01"}, [1]),
    ],
)
def test_it_narrows_a_list_of_visits(
    cast: Cast, client_of: ClientOf, query: dict[str, str], expected: list[int]
) -> None:
    made = [
        VisitFactory(site=cast.site, visited_on=date(2024, 1, 1)),
        VisitFactory(site=cast.site, visited_on=date(2024, 2, 1)),
        VisitFactory(site=cast.site, visited_on=date(2024, 3, 1), was_made=False, not_made_reason="dry"),
    ]
    visits = client_of("volunteer").get(address("visits"), query).json()["results"]
    assert {visit["id"] for visit in visits} == {str(made[index].pk) for index in expected}


def test_it_narrows_a_list_to_a_site(cast: Cast, client_of: ClientOf) -> None:
    other = SiteFactory(group=cast.group, code="AB2")
    VisitFactory(site=cast.site)
    visit = VisitFactory(site=other)
    visits = client_of("volunteer").get(address("visits"), {"site": str(other.pk)}).json()["results"]
    assert [each["id"] for each in visits] == [str(visit.pk)]


@pytest.mark.parametrize("query", [{"site": "AB1"}, {"status": "good"}, {"since": "May"}])
def test_it_says_which_filter_it_cannot_read(cast: Cast, client_of: ClientOf, query: dict[str, str]) -> None:
    answer = client_of("volunteer").get(address("visits"), query)
    assert answer.status_code == 400
    assert [problem["field"] for problem in answer.json()["problems"]] == list(query)


def test_it_pages_long_lists(cast: Cast, client_of: ClientOf) -> None:
    for day in range(1, 4):
        VisitFactory(site=cast.site, visited_on=date(2024, 1, day))
    client = client_of("volunteer")
    first = client.get(address("visits"), {"limit": 2}).json()
    assert len(first["results"]) == 2
    second = client.get(first["next"]).json()
    assert [visit["visited_on"] for visit in second["results"]] == ["2024-01-01"]


def test_it_shows_a_visit_as_it_was_submitted_with_its_findings(cast: Cast, client_of: ClientOf) -> None:
    visit = submit(
        cast.person("volunteer"),
        cast.site,
        measurements={"ph": {"value": "9.5"}, "temperature": {"value": "11"}},
    )
    shown = client_of("other_volunteer").get(address("visits", visit.pk)).json()
    assert shown["submission"]["measurements"]["ph"] == {"value": "9.5", "unit": "pH"}
    assert {"taxon": "Baetidae", "recorded_as": "", "count": "40"} in shown["submission"]["counts"]
    assert "measurements.ph" in {finding["field"] for finding in shown["findings"]}
    assert {score["index"] for score in shown["scores"]} >= {"bmwp", "aspt", "shannon", "simpson"}


def test_it_shows_a_visit_of_another_group_to_nobody_here(cast: Cast, client_of: ClientOf) -> None:
    visit = VisitFactory(site=cast.neighbour_site)
    assert client_of("volunteer").get(address("visits", visit.pk)).status_code == 404
    assert client_of("neighbour_volunteer").get(address("visits", visit.pk)).status_code == 404
    assert (
        client_of("neighbour_volunteer").get(address("visits", visit.pk, slug="withy-brook")).status_code == 200
    )


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize(
    ("who", "status"),
    [("volunteer", 200), ("coordinator", 200), ("neighbour_coordinator", 404), ("stranger", 404)],
)
def test_it_is_read_by_members_and_unknown_to_strangers(
    cast: Cast, client_of: ClientOf, page: str, who: str, status: int
) -> None:
    answer = client_of(who).get(address(page))
    assert answer.status_code == status
    if status == 404:
        assert answer.content == client_of(who).get(address(page, slug="no-such-group")).content


@pytest.mark.parametrize("path", ["/api/v1/groups/", *(address(page) for page in PAGES)])
def test_it_wants_somebody_signed_in(cast: Cast, path: str) -> None:
    answer = APIClient().get(path)
    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"


def queries_of(client: APIClient, path: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as counted:
        assert client.get(path).status_code == 200
    return len(counted)


def fill(cast: Cast, number: int) -> None:
    for index in range(number):
        site = SiteFactory(group=cast.group)
        submit(cast.person("volunteer"), site, visited_on=days_ago(index + 1).isoformat())


@pytest.mark.parametrize(("page", "ceiling"), [("sites", 5), ("lists", 6), ("visits", 6)])
def test_it_asks_the_database_as_often_for_many_rows_as_for_few(
    cast: Cast, client_of: ClientOf, page: str, ceiling: int
) -> None:
    client = client_of("volunteer")
    fill(cast, 1)
    few = queries_of(client, address(page))
    fill(cast, 5)
    assert queries_of(client, address(page)) == few <= ceiling


def test_it_reads_a_visit_with_few_queries(cast: Cast, client_of: ClientOf) -> None:
    visit: Any = submit(cast.person("volunteer"), cast.site)
    assert queries_of(client_of("volunteer"), address("visits", visit.pk)) <= 10
