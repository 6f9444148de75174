"""The audit trail: written with each change, and never changed itself."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, connection, transaction

from portal.audit.models import AuditEntry
from portal.audit.services import history_of, record_change, record_change_of_each
from tests.conftest import Cast
from tests.emptying import empty_tables

pytestmark = pytest.mark.usefixtures("by_owner")


@pytest.fixture
def entry(cast: Cast) -> AuditEntry:
    return record_change(
        actor=cast.person("coordinator"),
        verb="site.changed",
        thing=cast.site,
        changes={"name": ["Old ford", "Stepping stones"]},
        reason="Renamed.",
    )


def test_it_says_who_changed_what_and_why(cast: Cast, entry: AuditEntry) -> None:
    entry.refresh_from_db()
    assert (entry.actor, entry.actor_name, entry.group) == (cast.coordinator, "Cora Example", cast.group)
    assert (entry.object_type, entry.object_id) == ("surveys.site", cast.site.pk)
    assert entry.changes == {"name": ["Old ford", "Stepping stones"]}
    assert entry.reason == "Renamed."


def test_it_names_the_portal_when_nobody_acts(cast: Cast) -> None:
    assert record_change(actor=None, verb="site.swept", thing=cast.site).actor_name == "Rifflebook"


def test_it_writes_a_row_of_its_own_for_each_of_many_records(cast: Cast) -> None:
    sites = [cast.site, cast.neighbour_site]
    actor, changes = cast.person("coordinator"), {"name": ["a", "b"]}
    record_change_of_each(actor=actor, verb="site.seen", things=sites, changes=changes, reason="x")
    for site in sites:
        entry = history_of(site, site.group).get(verb="site.seen")
        assert (entry.group, entry.object_id, entry.object_type) == (site.group, site.pk, "surveys.site")
        assert (entry.actor_name, entry.reason, entry.changes) == ("Cora Example", "x", changes)


def test_it_writes_nothing_for_no_records(cast: Cast) -> None:
    record_change_of_each(actor=None, verb="site.seen", things=[])
    assert not history_of(cast.site, cast.group).exists()


def test_it_names_whoever_has_no_account(cast: Cast) -> None:
    made = record_change(actor=None, verb="site.seen", thing=cast.site, actor_name="Ada, River Agency")
    assert (made.actor, made.actor_name) == (None, "Ada, River Agency")


def test_it_gives_the_history_of_one_thing_in_order(cast: Cast, entry: AuditEntry) -> None:
    record_change(actor=None, verb="site.closed", thing=cast.neighbour_site)
    later = record_change(actor=None, verb="site.closed", thing=cast.site)
    assert list(history_of(cast.site, cast.group)) == [entry, later]


def test_it_gives_no_history_to_another_group(cast: Cast, entry: AuditEntry) -> None:
    assert not history_of(cast.site, cast.neighbour).exists()


def test_it_refuses_to_change_a_row(cast: Cast, entry: AuditEntry) -> None:
    with pytest.raises(IntegrityError, match="only ever added"), transaction.atomic():
        AuditEntry.objects.of_group(cast.group).update(reason="Something else.")
    entry.refresh_from_db()
    assert entry.reason == "Renamed."


def test_it_refuses_to_delete_a_row(cast: Cast, entry: AuditEntry) -> None:
    with pytest.raises(IntegrityError, match="only ever added"), transaction.atomic():
        entry.delete()
    assert AuditEntry.objects.of_group(cast.group).filter(pk=entry.pk).exists()


def test_it_refuses_a_change_by_plain_sql(entry: AuditEntry) -> None:
    with connection.cursor() as cursor, pytest.raises(IntegrityError, match="only ever added"):
        cursor.execute("DELETE FROM audit_auditentry WHERE id = %s", [entry.pk])


def test_it_is_the_trigger_that_refuses(cast: Cast, entry: AuditEntry) -> None:
    """Negative control: with the trigger off, the same update goes through."""
    with connection.cursor() as cursor:
        # PostgreSQL alters no table while a foreign key still waits for its check.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("ALTER TABLE audit_auditentry DISABLE TRIGGER audit_append_only")
    assert AuditEntry.objects.of_group(cast.group).update(reason="Forged.") == 1
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE audit_auditentry ENABLE TRIGGER audit_append_only")


def test_it_vanishes_with_a_change_that_is_rolled_back(cast: Cast) -> None:
    with transaction.atomic():
        record_change(actor=None, verb="site.changed", thing=cast.site)
        transaction.set_rollback(True)
    assert not AuditEntry.objects.of_group(cast.group).exists()


@pytest.mark.django_db(transaction=True)
def test_tests_may_still_empty_their_tables(cast: Cast, entry: AuditEntry) -> None:
    empty_tables()
    assert not AuditEntry.objects.across_groups("a test counts every row").exists()
