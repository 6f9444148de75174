"""Which tables the database keeps a history of, and the triggers that do it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from django.apps import apps
from django.db import connections, models

from portal.audit.models import RowChange

OUR_APPS = ("portal", "surveys", "alerts")
# Left out, each with its reason.
UNWATCHED = {
    "audit_auditentry": "only ever added to",
    "audit_rowchange": "is the history itself",
    "audit_link": "only ever added to, and checked by its own seals",
    "audit_waiting": "written and emptied by the second",
    "audit_entryaddress": "erased after a while, as told",
    "outbox_message": "each attempt is a row of its own, and marks change by the second",
    "outbox_attempt": "only ever added to",
    "outbox_heartbeat": "says when a process was last alive",
    "jobs_job": "progress of long work, written by the second",
    "public_opendatafile": "files made from records whose own history is kept",
    "surveys_draft": "what somebody is still typing",
}
# Personal data: the history names the columns that changed, and keeps no value that somebody may want erased.
HIDDEN = {
    "accounts_user",
    "accounts_invitation",
    "accounts_addresschange",
    "people_emergencycontact",
    "people_enquiry",
    "people_enquiryattempt",
    "people_minor",
    "surveys_safereturn",
    "surveys_returnnotice",
}
# Re-scoring retires a million rows at once; that is told by the scores that take their place.
ONLY_COLUMNS = {"surveys_visitscore": ("index", "version", "value", "low", "high", "visit_id")}
TRIGGERS = """
SELECT c.relname, t.tgname FROM pg_class c LEFT JOIN pg_trigger t ON t.tgrelid = c.oid
WHERE c.relkind = 'r' AND c.relnamespace = current_schema()::regnamespace
"""
CHANGED, ADDED = "history_of_changes", "history_of_additions"


@dataclass(frozen=True)
class Watched:
    """One table; `parent` is the column and table of the record that its rows are parts of, if any."""

    table: str
    parent: tuple[str, str] | None

    @property
    def hidden(self) -> str:
        return "hidden" if self.table in HIDDEN else ""


def watched_tables() -> Iterator[Watched]:
    """Every table of the portal's own models but for those of `UNWATCHED`."""
    for model in apps.get_models(include_auto_created=True):
        ours = model.__module__.split(".")[0] in OUR_APPS
        if ours and model._meta.managed and model._meta.db_table not in UNWATCHED:
            yield Watched(model._meta.db_table, _parent_of(model))


def _parent_of(model: type[models.Model]) -> tuple[str, str] | None:
    """The first step on the way to the group, unless that is the group itself."""
    first, *rest = str(getattr(model, "group_path", "")).split("__")
    if not rest:
        return None
    field = model._meta.get_field(first)
    return field.attname, field.related_model._meta.db_table  # type: ignore[union-attr]


def attach_triggers(using: str = "default") -> list[str]:
    """Watch every table that is not watched yet; returns what was attached (one query when nothing is new)."""
    with connections[using].cursor() as cursor:
        cursor.execute(TRIGGERS)
        there: dict[str, set[str]] = {}
        for table, trigger in cursor.fetchall():
            there.setdefault(table, set()).add(trigger)
        missing = list(_missing(there))
        for each, name in missing:
            cursor.execute(_statement(each, name))
    return [f"{name} on {each.table}" for each, name in missing]


def _missing(there: Mapping[str, set[str]]) -> Iterator[tuple[Watched, str]]:
    # Migrations may be run one by one: a table of a later one is watched once it is there.
    if RowChange._meta.db_table not in there:
        return
    for each in watched_tables():
        if each.table in there and (each.parent is None or each.parent[1] in there):
            yield from ((each, name) for name in (CHANGED, ADDED) if name not in there[each.table])


def _statement(each: Watched, name: str) -> str:
    column, parent_table = each.parent or ("", "")
    if name == ADDED:
        return (
            f"CREATE TRIGGER {name} AFTER INSERT ON {each.table} REFERENCING NEW TABLE AS added "
            f"FOR EACH STATEMENT EXECUTE FUNCTION audit_note_added('{column}', '{parent_table}')"
        )
    only = ONLY_COLUMNS.get(each.table)
    columns = " OF " + ", ".join(f'"{each}"' for each in only) if only else ""
    return (
        f"CREATE TRIGGER {name} AFTER UPDATE{columns} OR DELETE ON {each.table} "
        f"FOR EACH ROW EXECUTE FUNCTION audit_note_change('{column}', '{each.hidden}')"
    )
