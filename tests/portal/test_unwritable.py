"""PostgreSQL cannot write: the visit is refused in plain words and whole, and the next try works."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from uuid import uuid4

import pytest
from django.db import DataError, InterfaceError, OperationalError, connection
from django.test import Client

from alerts.models import Incident, Verdict
from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from portal.views.unwritable import is_database_trouble
from surveys.models import Visit, VisitScore
from surveys.services.drafts import start_visit
from tests.alerts.conftest import LOW, Watch, watch
from tests.factories import data_for
from tests.owner import as_owner
from tests.surveys.pages import address, post_of, signed_in

__all__ = ["watch"]
pytestmark = pytest.mark.django_db(transaction=True)
TABLES = (Visit, VisitScore, Verdict, Incident, Message, AuditEntry)


@contextmanager
def full_disk() -> Iterator[None]:
    """PostgreSQL's own refusal (SQLSTATE 53100) as late as can be: at the commit, when all is written."""
    with as_owner(), connection.cursor() as cursor:
        cursor.execute(
            "CREATE FUNCTION pg_temp.full() RETURNS trigger LANGUAGE plpgsql AS"
            " $$BEGIN RAISE 'could not extend file' USING ERRCODE = 'disk_full'; END$$;"
            "CREATE CONSTRAINT TRIGGER full_disk AFTER INSERT ON outbox_message DEFERRABLE INITIALLY DEFERRED"
            " FOR EACH ROW EXECUTE FUNCTION pg_temp.full()"
        )
    try:
        yield
    finally:
        with as_owner(), connection.cursor() as cursor:
            cursor.execute("DROP TRIGGER full_disk ON outbox_message; DROP FUNCTION pg_temp.full()")


@contextmanager
def read_only() -> Iterator[None]:
    """A server that takes no writes, as a standby or one that its operator has closed."""
    with connection.cursor() as cursor:
        cursor.execute("SET default_transaction_read_only = on")
        try:
            yield
        finally:
            cursor.execute("SET default_transaction_read_only = off")


def rows() -> dict[str, int]:
    return {table.__name__: table.objects.across_groups("tests look at all").count() for table in TABLES}


def visit_form(watch: Watch) -> tuple[Client, str, dict[str, str]]:
    draft = start_visit(person=watch.cast.person("volunteer"), site=watch.site)
    data = data_for(watch.site, counts=LOW, recorder=str(watch.cast.volunteer.pk))
    client = signed_in(watch.cast.volunteer)
    client.raise_request_exception = False
    return client, address("visit_submit", watch.cast.group, draft_id=draft.pk), post_of(data)


@pytest.mark.parametrize("trouble", [full_disk, read_only])
def test_a_low_visit_is_refused_whole_and_taken_when_sent_again(watch: Watch, trouble: Any) -> None:
    client, place, post = visit_form(watch)
    before = rows()
    with trouble():
        answer = client.post(place, post)
    assert answer.status_code == 503
    assert answer["Retry-After"] == "60"
    page = answer.content.decode()
    assert "Not saved: please send it again in a minute" in page
    assert "telephone your agency now" in page
    assert rows() == before

    assert client.post(place, post).status_code == 302
    after = rows()
    assert after["Visit"] == before["Visit"] + 1
    assert (after["Verdict"], after["Incident"]) == (1, 1)
    assert after["Message"] > 0


@pytest.mark.parametrize("trouble", [full_disk, read_only])
def test_a_phone_or_program_is_told_to_send_it_again(watch: Watch, trouble: Any) -> None:
    client, _place, _post = visit_form(watch)
    number = uuid4()
    place = f"/api/v1/groups/{watch.cast.group.slug}/visits/{number}/"
    data = data_for(watch.site, counts=LOW) | {"id": str(number)}
    before = rows()
    with trouble():
        answer = client.put(place, data, content_type="application/json")
    assert (answer.status_code, answer["Content-Type"]) == (503, "application/problem+json")
    assert "Nothing of this request was saved" in answer.json()["detail"]
    assert rows() == before
    assert client.put(place, data, content_type="application/json").status_code == 201


def test_a_page_says_that_the_database_is_away(watch: Watch) -> None:
    client, place, _post = visit_form(watch)

    def refuse(*_given: object) -> None:
        raise OperationalError("gone")

    with connection.execute_wrapper(refuse):
        answer = client.get(place)
    assert answer.status_code == 503
    assert "The portal cannot be reached" in answer.content.decode()


@pytest.mark.parametrize(
    ("fault", "is_trouble"),
    [(OperationalError(), True), (InterfaceError(), True), (DataError(), False), (ValueError(), False)],
)
def test_it_knows_the_servers_faults_from_ours(fault: Exception, is_trouble: bool) -> None:
    assert is_database_trouble(fault) is is_trouble
