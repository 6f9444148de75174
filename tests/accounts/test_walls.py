"""What is told to the database, when, and on which connection."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.db import IntegrityError, connection, connections, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from portal.accounts import role
from portal.accounts.walls import SETTING, admit, carried, closed, groups_of, told_now, wide, within
from portal.celery import app
from surveys.models import Site
from tests.conftest import Cast
from tests.owner import as_owner

pytestmark = pytest.mark.django_db
A, B = UUID(int=1), UUID(int=2)


def in_the_database() -> str:
    """What this connection has been told, as the policies read it."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_setting(%s, true)", [SETTING])
        return str(cursor.fetchone()[0])


def on_a_connection_of_its_own() -> tuple[int, str]:
    """Which server process answers, and what it has been told."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_backend_pid(), current_setting(%s, true)", [SETTING])
            found: tuple[int, str] = cursor.fetchone()
            return found
    finally:
        connections.close_all()


def test_scopes_stand_within_each_other() -> None:
    with closed():
        assert in_the_database() == ""
        with within(A):
            assert in_the_database() == str(A)
            with wide("to see"):
                assert in_the_database() == "all"
            assert in_the_database() == str(A)
        assert in_the_database() == ""


def test_what_is_admitted_lasts_as_long_as_the_request_and_no_longer() -> None:
    with closed():
        with wide("looks for it"):
            admit(A)
            assert in_the_database() == "all"
        assert in_the_database() == str(A)
        admit(B)
        assert in_the_database() == f"{A},{B}"
    with closed():
        assert in_the_database() == ""


def test_wide_needs_a_reason() -> None:
    with pytest.raises(ValueError, match="why"), wide(""):
        pass


def test_a_rollback_takes_what_was_told_with_it_and_it_is_told_anew() -> None:
    with wide("before"):
        assert in_the_database() == "all"
    with transaction.atomic(), within(A):
        assert in_the_database() == str(A)
        transaction.set_rollback(True)
    with within(A):
        assert in_the_database() == str(A), "and not what stood before the savepoint"


def test_after_an_error_the_transaction_still_ends() -> None:
    with within(A):
        # The scope changes again between the error and the rollback.
        with pytest.raises(IntegrityError), transaction.atomic(), wide("breaks"), connection.cursor() as cursor:
            cursor.execute("INSERT INTO accounts_group (id) VALUES (gen_random_uuid())")
        assert in_the_database() == str(A)


@pytest.mark.django_db(transaction=True)
def test_a_transaction_may_still_say_what_it_sees_after_its_scope_is_told() -> None:
    with within(A), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        assert in_the_database() == str(A)


def test_a_pooled_connection_carries_nothing_over() -> None:
    def asked(*groups: UUID) -> tuple[int, str]:
        with within(*groups):
            return on_a_connection_of_its_own()

    with ThreadPoolExecutor(1) as pool:
        first = pool.submit(asked, A).result()
        second = pool.submit(on_a_connection_of_its_own).result()
        third = pool.submit(asked, B).result()
    assert {first[0], second[0], third[0]} == {first[0]}, "one and the same connection"
    assert [first[1], second[1], third[1]] == [str(A), "", str(B)]


def test_two_at_once_have_each_their_own() -> None:
    meeting = threading.Barrier(2, timeout=20)

    def asked(group: UUID) -> list[str]:
        with within(group):
            found = []
            for _ in range(5):
                meeting.wait()
                found.append(in_the_database())
        connections.close_all()
        return found

    with ThreadPoolExecutor(2) as pool:
        told = list(pool.map(asked, (A, B)))
    assert told == [[str(A)] * 5, [str(B)] * 5]


def test_a_thread_begins_with_nothing_unless_it_is_carried_over() -> None:
    with within(A), ThreadPoolExecutor(1) as pool:
        assert pool.submit(told_now).result() == ""
        assert pool.submit(carried(told_now)).result() == str(A)


def test_a_task_begins_with_nothing() -> None:
    @app.task(name="tests.probe")
    def probe() -> str:
        return told_now()

    with wide("whoever calls it"):
        assert probe() == ""
        assert probe.apply().get() == ""


def test_a_request_gets_the_groups_of_its_person_and_leaves_nothing_behind(
    cast: Cast, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[str] = []

    def noted(person: Any, action: str, thing: Any) -> bool:
        told.append(told_now())
        return False

    monkeypatch.setattr("portal.context.allowed", noted)
    client.force_login(cast.volunteer)
    with closed():
        client.get(reverse("group_desk", args=[cast.group.slug]))
        assert told_now() == ""
    assert set(told) == {str(cast.group.pk)}


def test_telling_is_no_query_of_the_page(cast: Cast) -> None:
    with CaptureQueriesContext(connection) as asked, within(cast.group.pk):
        assert Site.objects.of_group(cast.group).exists()
    assert len(asked) == 1


def test_groups_of_what_was_found(cast: Cast) -> None:
    assert set(groups_of([cast.site, cast.neighbour, None])) == {cast.group.pk, cast.neighbour.pk}


def test_the_role_is_made_with_a_way_to_sign_in_and_no_more() -> None:
    name = f"wall_{uuid4().hex[:8]}"
    with as_owner(), connection.cursor() as cursor:
        role._make_role(cursor, name, "a password")
        asked = "SELECT rolcanlogin, rolsuper, rolbypassrls, rolpassword LIKE 'SCRAM%%' FROM pg_authid"
        cursor.execute(f"{asked} WHERE rolname = %s", [name])
        assert cursor.fetchone() == (True, False, False, True)


@pytest.mark.parametrize("right", ["SUPERUSER", "BYPASSRLS"])
def test_a_role_that_passes_the_policies_is_refused(right: str) -> None:
    with as_owner(), connection.cursor() as cursor:
        cursor.execute(f"ALTER ROLE {settings.DATABASE_ROLE} {right}")
        with pytest.raises(ImproperlyConfigured, match="no policy holds it"):
            role.raise_the_wall()


def test_a_changed_policy_is_made_anew_and_a_strange_one_taken_away() -> None:
    with as_owner(), connection.cursor() as cursor:
        cursor.execute("COMMENT ON POLICY of_group ON surveys_site IS 'of an earlier release'")
        cursor.execute("CREATE POLICY let_me_in ON surveys_site USING (true)")
        assert role.raise_the_wall() == ["of_group on surveys_site"]
        cursor.execute("SELECT policyname FROM pg_policies WHERE tablename = 'surveys_site'")
        assert cursor.fetchall() == [("of_group",)]
        assert role.raise_the_wall() == []


def test_the_history_is_written_by_the_database_alone() -> None:
    with connection.cursor() as cursor:
        asked = "SELECT has_table_privilege('audit_rowchange', 'INSERT')"
        cursor.execute(f"{asked}, has_table_privilege('audit_auditentry', 'DELETE')")
        assert cursor.fetchone() == (False, False)
