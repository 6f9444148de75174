"""The verdict on a visit, by program."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from surveys.models import Visit
from tests.alerts.conftest import LEVEL, LOW_SCORE, Watch
from tests.conftest import Cast
from tests.factories import VisitFactory


def verdict_of(cast: Cast, visit: Visit, who: str = "volunteer", slug: str = "alder-beck") -> Any:
    client = APIClient()
    client.force_login(getattr(cast, who))
    return client.get(f"/api/v1/groups/{slug}/visits/{visit.pk}/verdict/")


def test_it_tells_that_a_visit_was_below_and_below_what(watch: Watch) -> None:
    body = verdict_of(watch.cast, watch.submit_low()).json()
    assert (body["outcome"], body["value"], body["reasons"]) == ("below", LOW_SCORE, [])
    assert (body["trigger"]["index"], body["trigger"]["level"]) == ("bmwp", LEVEL)


def test_it_tells_that_a_visit_was_not_below(watch: Watch) -> None:
    assert verdict_of(watch.cast, watch.submit_clean()).json()["outcome"] == "not_below"


def test_it_tells_why_a_visit_was_not_tested(watch: Watch) -> None:
    body = verdict_of(watch.cast, watch.submit_low(water_level="spate")).json()
    assert (body["outcome"], "spate" in body["reasons"]) == ("not_tested", True)
    assert any("spate" in sentence for sentence in body["explanations"])


@pytest.mark.parametrize("who", ["neighbour_coordinator", "stranger"])
def test_it_tells_strangers_nothing(watch: Watch, who: str) -> None:
    assert verdict_of(watch.cast, watch.submit_low(), who).status_code == 404


def test_it_knows_no_visit_of_another_group(cast: Cast) -> None:
    visit = VisitFactory(site=cast.neighbour_site)
    answer = verdict_of(cast, visit)
    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")


def test_it_tells_nobody_anything(watch: Watch) -> None:
    visit = watch.submit_low()
    assert APIClient().get(f"/api/v1/groups/alder-beck/visits/{visit.pk}/verdict/").status_code == 401


def test_it_takes_few_queries(watch: Watch) -> None:
    visit, client = watch.submit_low(), APIClient()
    client.force_login(watch.cast.volunteer)
    with CaptureQueriesContext(connection) as counted:
        client.get(f"/api/v1/groups/alder-beck/visits/{visit.pk}/verdict/")
    # Session, account, memberships, verdict with its trigger and visit, the score in force.
    assert len(counted) == 5
