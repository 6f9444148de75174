"""What takes too long is logged with its place and its text, and without a value of anybody's."""

from __future__ import annotations

import logging
from collections.abc import Iterator

import pytest
from celery import shared_task
from django.conf import LazySettings
from django.db import connection
from django.test import Client
from psycopg import sql

from portal.serving.slowness import LONGEST_TEXT, note_slow_query, without_values
from tests.conftest import Cast
from tests.surveys.pages import signed_in

pytestmark = pytest.mark.django_db
SLEEP = "SELECT pg_sleep(0.03), %s::text, 'quoted ''name''' /* why */"


@pytest.fixture(autouse=True)
def _heard(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.WARNING, "portal.serving.slowness")


@shared_task(name="tests.dawdle")
def dawdle() -> None:
    with connection.cursor() as cursor:
        cursor.execute(SLEEP, ["vera@example.org"])


def test_a_slow_query_is_logged_without_values(
    caplog: pytest.LogCaptureFixture, settings: LazySettings
) -> None:
    settings.SLOW_QUERY_MS = 10
    dawdle()
    (line,) = caplog.messages
    assert line.startswith("slow query: ")
    assert "at a command or shell: SELECT pg_sleep(0.03), %s::text, '…' /* why */" in line
    assert 30 <= int(line.split()[2]) < 30_000
    assert "vera" not in line
    assert "name" not in line


@pytest.mark.parametrize("limit", [0, 60_000])
def test_what_is_quick_enough_is_not(
    caplog: pytest.LogCaptureFixture, settings: LazySettings, limit: float
) -> None:
    settings.SLOW_QUERY_MS = settings.SLOW_TASK_MS = limit
    dawdle.apply()
    assert caplog.messages == []


@pytest.mark.parametrize("building", ["CREATE TEMPORARY TABLE heap (grain int)", "analyze surveys_site"])
def test_what_builds_takes_its_time_unremarked(
    caplog: pytest.LogCaptureFixture, settings: LazySettings, building: str
) -> None:
    settings.SLOW_QUERY_MS = 0.000001
    with connection.cursor() as cursor:
        cursor.execute(building)
        assert caplog.messages == []
        cursor.execute("SELECT 'CREATE'")
    assert len(caplog.messages) == 1


def test_a_query_of_a_page_is_told_by_the_pattern_of_its_address(
    cast: Cast, caplog: pytest.LogCaptureFixture, settings: LazySettings
) -> None:
    client: Client = signed_in(cast.coordinator)
    settings.SLOW_QUERY_MS = 0.000001
    assert client.get(f"/groups/{cast.group.slug}/sites/{cast.site.pk}/").status_code == 200
    places = [line.split(" at ")[1].split(": ")[0] for line in caplog.messages]
    assert places[0] == "GET before its address was looked up"
    assert places[-1] == "GET /groups/<slug:slug>/sites/<uuid:site_id>/"
    told = "\n".join(caplog.messages)
    assert cast.group.slug not in told
    assert str(cast.site.pk) not in told


def test_a_slow_task_is_told_by_its_name_and_so_are_its_queries(
    caplog: pytest.LogCaptureFixture, settings: LazySettings
) -> None:
    settings.SLOW_QUERY_MS = settings.SLOW_TASK_MS = 10
    dawdle.apply()
    query, task = caplog.messages
    assert " at task tests.dawdle: SELECT pg_sleep" in query
    assert task.startswith("slow task: ")
    assert task.endswith(" ms: tests.dawdle")
    dawdle()
    assert " at a command or shell: " in caplog.messages[-2 + 1]


@pytest.fixture
def reopened() -> Iterator[None]:
    connection.close()
    yield
    connection.close()


@pytest.mark.django_db(transaction=True)
def test_a_connection_opened_anew_is_watched_once(reopened: None) -> None:
    for _ in range(2):
        connection.close()
        connection.ensure_connection()
    assert connection.execute_wrappers.count(note_slow_query) == 1


def test_a_long_statement_is_cut() -> None:
    assert len(without_values("SELECT " + "x, " * LONGEST_TEXT)) == LONGEST_TEXT
    assert without_values("SELECT\n  1,\n  'a\nb'") == "SELECT 1, '…'"


def test_a_composed_statement_is_told_without_its_values() -> None:
    statement = sql.SQL("SELECT {} FROM {} WHERE name = {}").format(
        sql.Identifier("notes"), sql.Identifier("surveys_visit"), sql.Literal("Vera's")
    )
    assert without_values(statement) == """SELECT "notes" FROM "surveys_visit" WHERE name = '…'"""
