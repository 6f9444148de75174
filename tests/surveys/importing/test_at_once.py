"""Two people, or two clicks, at the same moment: nothing is loaded twice and nobody sees an error."""

from __future__ import annotations

import io
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier
from typing import Any, TypeVar

import pytest
from django.conf import LazySettings
from django.db import connection
from rest_framework.test import APIClient

from portal.accounts.walls import carried
from portal.audit.services import history_of
from surveys.models import ImportRun, Visit
from surveys.services import imports
from tests.conftest import Cast
from tests.factories import data_for
from tests.surveys.importing.sheets import csv_of

pytestmark = pytest.mark.django_db(transaction=True)
T = TypeVar("T")


@pytest.fixture(autouse=True)
def _own_media(settings: LazySettings, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path


def at_once(*jobs: Callable[[], T]) -> list[T]:
    """The answers of jobs that start together, each on a connection of its own."""
    start = Barrier(len(jobs))

    def run(job: Callable[[], T]) -> T:
        try:
            start.wait(timeout=20)
            return job()
        finally:
            connection.close()

    with ThreadPoolExecutor(len(jobs)) as pool:
        return [each.result(timeout=60) for each in [pool.submit(carried(run), job) for job in jobs]]


def kept(cast: Cast, who: str) -> ImportRun:
    rows = [{"date": f"2024-{month:02d}-01"} for month in range(1, 7)]
    file = io.BytesIO(csv_of(rows))
    return imports.keep_sheet(person=cast.person(who), group=cast.group, file=file, file_name="old.csv")


def test_it_loads_a_sheet_once_for_two_clicks_at_once(cast: Cast) -> None:
    run, person = kept(cast, "coordinator"), cast.person("coordinator")
    answers = at_once(*[lambda: imports.load_run(person=person, run=run)] * 2)
    assert [each.new for each in answers] == [6, 6]
    assert Visit.objects.of_group(cast.group).count() == 6
    assert [entry.verb for entry in history_of(run, cast.group)] == ["import.loaded"]


def test_it_loads_one_of_two_equal_sheets_of_one_person_at_once(cast: Cast) -> None:
    runs, person = [kept(cast, "coordinator") for _each in range(2)], cast.person("coordinator")
    answers = at_once(*[lambda run=run: imports.load_run(person=person, run=run) for run in runs])
    assert sum(each.new for each in answers) == 6
    assert Visit.objects.of_group(cast.group).count() == 6


def test_it_takes_a_visit_once_that_is_sent_twice_at_once(cast: Cast) -> None:
    data = data_for(cast.site)

    def send() -> Any:
        client = APIClient()
        client.force_login(cast.volunteer)
        return client.put(f"/api/v1/groups/alder-beck/visits/{data['id']}/", data, format="json")

    answers = at_once(send, send, send)
    assert sorted(answer.status_code for answer in answers) == [200, 200, 201]
    bodies = [answer.json() for answer in answers]
    assert all(body == bodies[0] for body in bodies)
    assert Visit.objects.of_group(cast.group).count() == 1


def test_it_approves_each_visit_once_for_two_clicks_at_once(cast: Cast) -> None:
    run = kept(cast, "coordinator")
    imports.load_run(person=cast.person("coordinator"), run=run)
    person = cast.person("second_coordinator")

    def approve() -> int:
        done = imports.approve_run(person=person, run=run, accept_findings_reason="as noted")
        return done.approved

    assert sorted(at_once(approve, approve)) == [0, 6]
    assert set(Visit.objects.of_group(cast.group).values_list("status", flat=True)) == {"approved"}
