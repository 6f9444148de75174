"""The database notes every change by itself, and tells what the portal explains from what was done past it."""

from __future__ import annotations

from io import StringIO
from typing import Any
from uuid import uuid4

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import reverse

from portal.audit.gaps import all_unexplained_changes, unexplained_changes
from portal.audit.management.commands.find_untold_changes import RECORDS
from portal.audit.models import RowChange
from portal.audit.watching import ADDED, CHANGED, HIDDEN, UNWATCHED, attach_triggers, watched_tables
from surveys.histories import trail_of
from surveys.models import Visit
from surveys.services.visits import approve_visit, correct_visit
from tests.conftest import Cast
from tests.emptying import past_triggers
from tests.factories import days_ago, submission_for, submit

# Each call of the portal is a transaction of its own here, as in life.
pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("by_owner")]


def run(sql: str, *values: Any) -> None:
    """What somebody with the database's own password types."""
    with connection.cursor() as cursor:
        cursor.execute(sql, values)


def triggers() -> dict[str, set[str]]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT c.relname, t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "WHERE t.tgname LIKE 'history_of_%%'"
        )
        found: dict[str, set[str]] = {}
        for table, name in cursor.fetchall():
            found.setdefault(table, set()).add(name)
    return found


@pytest.fixture
def visit(cast: Cast) -> Visit:
    return submit(cast.person("volunteer"), cast.site, visited_on=days_ago(3).isoformat())


def test_every_table_is_watched_or_left_out_with_its_reason() -> None:
    there = triggers()
    for each in watched_tables():
        assert there[each.table] == {CHANGED, ADDED}, each.table
    assert not set(there) & set(UNWATCHED)
    assert all(UNWATCHED.values())
    assert {each.table for each in watched_tables()} >= HIDDEN
    # Nothing is attached twice, and a table whose trigger was dropped is watched again.
    assert attach_triggers() == []
    run(f"DROP TRIGGER {CHANGED} ON surveys_site")
    assert attach_triggers() == [f"{CHANGED} on surveys_site"]


def test_a_visit_that_is_sent_in_leaves_nothing_unexplained(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, visited_on=days_ago(3).isoformat())
    assert not RowChange.objects.filter(parent=str(visit.pk)).exists()
    assert not unexplained_changes(visit)


def test_what_the_portal_changes_is_explained_by_its_entries(cast: Cast, visit: Visit) -> None:
    corrected = submission_for(cast.site, id=str(visit.pk), counts={"Baetidae": 77})
    correct_visit(person=cast.person("coordinator"), visit=visit, submission=corrected, reason="Misread.")
    approve_visit(person=cast.person("second_coordinator"), visit=visit)
    noted = RowChange.objects.filter(parent=str(visit.pk)).values_list("table", "operation")
    assert {("surveys_taxoncount", "deleted"), ("surveys_taxoncount", "added")} <= set(noted)
    assert not unexplained_changes(visit)


def test_a_count_changed_by_hand_stands_out_with_both_values(visit: Visit) -> None:
    count = visit.counts.order_by("taxon").first()
    assert count
    assert count.count is not None
    run("UPDATE surveys_taxoncount SET count = %s WHERE id = %s", count.count + 500, count.pk)
    (change,) = unexplained_changes(visit)
    assert (change.table, change.operation, change.row) == ("surveys_taxoncount", "changed", str(count.pk))
    assert (change.before, change.after) == ({"count": count.count}, {"count": count.count + 500})
    assert change.database_user


def test_rows_deleted_by_hand_stand_out(visit: Visit) -> None:
    count = visit.counts.first()
    assert count
    run("DELETE FROM surveys_taxoncount WHERE id = %s", count.pk)
    (gone,) = unexplained_changes(visit)
    assert gone.operation == "deleted"
    assert gone.before["taxon"] == count.taxon
    assert gone.after == {}


def test_rows_slipped_in_are_noted_once_for_each_record_and_statement(visit: Visit) -> None:
    run(
        "INSERT INTO surveys_taxoncount (visit_id, taxon, recorded_as, count, whole_tray, by_key) "
        "SELECT %s, taxon, '', 5, false, false FROM unnest(ARRAY['Sialidae', 'Gerridae']) AS taxon",
        visit.pk,
    )
    (added,) = unexplained_changes(visit)
    assert (added.table, added.operation, added.after) == ("surveys_taxoncount", "added", {"rows": 2})


def test_a_part_slipped_in_beside_a_change_of_its_record_stands_out_too(visit: Visit) -> None:
    with transaction.atomic():
        run("UPDATE surveys_visit SET notes = notes WHERE id = %s", visit.pk)
        run(
            "INSERT INTO surveys_taxoncount (visit_id, taxon, recorded_as, count, whole_tray, by_key) "
            "VALUES (%s, 'Sialidae', '', 5, false, false)",
            visit.pk,
        )
    assert [each.operation for each in unexplained_changes(visit)] == ["added"]


def test_a_record_that_was_never_sent_in_stands_out(visit: Visit) -> None:
    copied = uuid4()
    with connection.cursor() as cursor:
        cursor.execute("SELECT column_name FROM information_schema.columns WHERE table_name = 'surveys_visit'")
        names = ", ".join(f'"{name}"' for (name,) in cursor.fetchall() if name != "id")
    run(
        f"INSERT INTO surveys_visit (id, {names}) SELECT %s, {names} FROM surveys_visit WHERE id = %s",
        copied,
        visit.pk,
    )
    assert [each.operation for each in unexplained_changes(Visit(pk=copied))] == ["added"]


def test_a_savepoint_hides_nothing_and_invents_nothing(cast: Cast) -> None:
    with transaction.atomic(), transaction.atomic():
        new = submit(cast.person("volunteer"), cast.site, visited_on=days_ago(3).isoformat())
    assert not unexplained_changes(new)
    assert not RowChange.objects.filter(parent=str(new.pk)).exists()


def test_a_change_that_changes_nothing_is_no_change(visit: Visit) -> None:
    run("UPDATE surveys_visit SET notes = notes WHERE id = %s", visit.pk)
    assert not unexplained_changes(visit)


def test_the_history_itself_is_only_ever_added_to(visit: Visit) -> None:
    run("UPDATE surveys_visit SET notes = 'other' WHERE id = %s", visit.pk)
    for sql in ("UPDATE audit_rowchange SET before = '{}'", "DELETE FROM audit_rowchange"):
        with pytest.raises(DatabaseError, match="only ever added"), transaction.atomic():
            run(sql)
    assert all_unexplained_changes().filter(row=str(visit.pk)).count() == 1


def test_it_keeps_no_value_of_personal_data(cast: Cast) -> None:
    run("UPDATE accounts_user SET phone = '01632 960111' WHERE id = %s", cast.volunteer.pk)
    change = RowChange.objects.get(table="accounts_user", row=str(cast.volunteer.pk), operation="changed")
    assert change.before == change.after == {"phone": "…"}


def test_it_keeps_a_long_value_as_its_fingerprint(visit: Visit) -> None:
    run("UPDATE surveys_visit SET notes = %s WHERE id = %s", "stone " * 1_000, visit.pk)
    (change,) = unexplained_changes(visit)
    assert change.after["notes"]["length"] == 6_002
    assert len(change.after["notes"]["sha256"]) == 64


def test_the_visits_page_says_what_was_done_past_the_portal(cast: Cast, visit: Visit) -> None:
    run("DELETE FROM surveys_measurement WHERE visit_id = %s AND quantity = 'ph'", visit.pk)
    run("UPDATE surveys_spoteffort SET depth_cm = 3 WHERE visit_id = %s AND number = 1", visit.pk)
    run("UPDATE surveys_visit SET water_level = 'spate' WHERE id = %s", visit.pk)
    client = Client()
    client.force_login(cast.volunteer)
    page = client.get(reverse("visit_detail", kwargs={"slug": cast.group.slug, "visit_id": visit.pk}))
    events = trail_of(visit, cast.group)[:3]
    for event, (done, kind) in zip(
        events, [("Changed", "the visit"), ("Changed", "a spot"), ("Deleted", "a measurement")], strict=True
    ):
        assert event.what == f"{done} in the database, past the portal: {kind}"
        assert event.what in page.content.decode()
        assert event.who.startswith("by the database's account")
    assert not [each.label for event in events for each in event.changes if "_" in each.label]
    assert trail_of(visit, cast.group)[0].changes[0].new.startswith("in spate")


def test_the_command_names_them_and_fails(visit: Visit) -> None:
    out = StringIO()
    run("UPDATE surveys_visit SET water_level = 'spate' WHERE id = %s", visit.pk)
    before = all_unexplained_changes().exclude(row=str(visit.pk)).filter(table__in=RECORDS).count()
    with pytest.raises(CommandError, match=f"{before + 1} changes are unexplained"):
        call_command("find_untold_changes", stdout=out)
    assert str(visit.pk) in out.getvalue()


def test_the_command_is_content_where_all_is_explained(cast: Cast) -> None:
    # What the test's own factories wrote is told by nobody.
    with past_triggers():
        run("TRUNCATE audit_rowchange")
    submit(cast.person("volunteer"), cast.site, visited_on=days_ago(3).isoformat())
    out = StringIO()
    call_command("find_untold_changes", days=1, stdout=out)
    assert "Every change is explained" in out.getvalue()
