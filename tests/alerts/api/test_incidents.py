"""Incidents and triggers by program."""

from __future__ import annotations

from typing import Any

import pytest
from rest_framework.test import APIClient

from portal.accounts.models import User
from tests.alerts import conftest as alerting
from tests.alerts.conftest import Watch, the_incident

watch = alerting.watch
pytestmark = pytest.mark.django_db
GROUP = "/api/v1/groups/alder-beck/"


def client_of(user: User) -> APIClient:
    client = APIClient()
    client.force_login(user)
    return client


def acted(watch: Watch, step: str, who: str = "coordinator", **data: str) -> Any:
    place = f"{GROUP}incidents/{the_incident().pk}/{step}/"
    return client_of(getattr(watch.cast, who)).post(place, data, format="json")


def test_it_lists_incidents_and_reads_one(watch: Watch) -> None:
    visit = watch.submit_low()
    client = client_of(watch.cast.volunteer)
    (listed,) = client.get(f"{GROUP}incidents/").json()["results"]
    assert (listed["site"], listed["state"]) == (str(visit.site_id), "open")
    assert client.get(f"{GROUP}incidents/{listed['id']}/").json() == listed
    assert client_of(watch.cast.neighbour_coordinator).get(f"{GROUP}incidents/").status_code == 404


def test_a_coordinator_acknowledges_and_the_first_answer_stands(watch: Watch) -> None:
    watch.submit_low()
    first = acted(watch, "acknowledge").json()
    assert (first["state"], first["acknowledged_by"]) == ("acknowledged", "Cora Example")
    assert acted(watch, "acknowledge", "second_coordinator").json() == first


def test_a_volunteer_may_not_acknowledge(watch: Watch) -> None:
    watch.submit_low()
    assert acted(watch, "acknowledge", "volunteer").status_code == 403
    assert the_incident().acknowledged_at is None


def test_a_note_is_added_and_an_empty_one_refused_at_its_field(watch: Watch) -> None:
    watch.submit_low()
    assert acted(watch, "note", reference="2026/117").json()["agency_reference"] == "2026/117"
    refused = acted(watch, "note")
    assert refused.status_code == 422
    assert [each["field"] for each in refused.json()["problems"]] == ["note"]


def test_it_tells_the_trigger_in_force_and_nothing_where_none_is(watch: Watch) -> None:
    place = f"{GROUP}sites/{watch.site.pk}/trigger/"
    assert client_of(watch.cast.volunteer).get(place).json()["level"] == watch.trigger.level
    watch.trigger.delete()
    assert client_of(watch.cast.volunteer).get(place).status_code == 404
