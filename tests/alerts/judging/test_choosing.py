"""Visits chosen by their verdicts: in the list, in an export, by program; like on each."""

from __future__ import annotations

import csv
import io

import pytest
from django.test import Client
from rest_framework.test import APIClient

from alerts.models import Verdict
from surveys.exporting.services import Wish, make_export
from tests.alerts.conftest import set_level
from tests.conftest import Cast
from tests.factories import VisitFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def days(cast: Cast) -> dict[str, str]:
    """A visit of each verdict, by its day."""
    found = {"below": "2024-05-03", "not_below": "2024-06-03", "not_tested": "2024-07-03"}
    trigger = set_level(cast.site, cast.coordinator)
    for outcome, day in found.items():
        visit = VisitFactory(site=cast.site, visited_on=day)
        Verdict.objects.create(group=cast.group, visit=visit, trigger=trigger, outcome=outcome, value=40)
    return found


@pytest.mark.parametrize("outcome", ["below", "not_below", "not_tested"])
def test_an_export_and_the_interface_hold_only_those(cast: Cast, days: dict[str, str], outcome: str) -> None:
    wish = Wish("visits", "csv", f"verdict={outcome}")
    with make_export(person=cast.person("volunteer"), group=cast.group, wish=wish) as out:
        rows = list(csv.DictReader(io.StringIO(out.read().decode("utf-8-sig"))))
    assert [row["date"] for row in rows] == [days[outcome]]
    client = APIClient()
    client.force_login(cast.volunteer)
    told = client.get("/api/v1/groups/alder-beck/visits/", {"verdict": outcome}).json()["results"]
    assert [each["visited_on"] for each in told] == [days[outcome]]


def test_the_list_offers_the_choice_and_its_export_keeps_it(
    cast: Cast, client: Client, days: dict[str, str]
) -> None:
    client.force_login(cast.volunteer)
    page = client.get("/groups/alder-beck/visits/", {"verdict": "below"}).content.decode()
    assert "below the trigger" in page
    assert "verdict=below" in page
    assert "2024" in page
    assert client.get("/groups/alder-beck/visits/", {"verdict": "nonsense"}).status_code == 200


def test_a_verdict_there_is_not_is_refused_to_a_program(cast: Cast) -> None:
    client = APIClient()
    client.force_login(cast.volunteer)
    answer = client.get("/api/v1/groups/alder-beck/visits/", {"verdict": "nonsense"})
    assert (answer.status_code, answer.json()["problems"][0]["field"]) == (400, "verdict")
