"""The policies of the second wall: whose rows come out of a table that belongs to groups, and may be written.

Whose a row is, a policy reads from its column of the group, or asks the rows that it is a part of. The tables
are found by their models, so that a new one cannot be forgotten; `role.py` brings them to the database.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from hashlib import sha256
from typing import Any

from django.apps import apps
from django.db import models

from portal.accounts.models import Group
from portal.accounts.walls import EVERYTHING, SETTING

OUR_APPS = ("portal", "surveys", "alerts")
TOLD = f"current_setting('{SETTING}', true)"
# Each in a query of its own, so that it is asked once, and not for each of very many rows.
IS_WIDE = f"(SELECT {TOLD} = '{EVERYTHING}')"
# The second cast changes nothing, but lets ANY read one array and not the rows of a query.
GROUPS = f"(SELECT string_to_array(nullif(nullif({TOLD}, '{EVERYTHING}'), ''), ',')::uuid[])::uuid[]"
# Rows without a group that everybody may read, each with its reason; others are for the portal's own work only.
READ_BY_ALL = {"surveys_recordinglist": "the lists that the portal comes with"}
# Belong to groups without naming one: they come out for the portal's own work only, each with its reason.
WIDE_ONLY = {"audit_rowchange": "names rows of any table; is read beside a record that was found in its group"}
# Parts of a record that is named without a foreign key: column, and table of the record.
NAMED = {"audit_entryaddress": ("entry", "audit_auditentry")}
# Of no group, each with its reason.
UNWALLED = {
    "audit_link": "digests of rows, and nothing of what they say",
    "audit_waiting": "numbers of rows that are not sealed yet",
    "accounts_addresschange": "a person's own",
    "accounts_user": "a person may belong to several groups, and to none",
    "accounts_user_groups": "of Django, unused",
    "accounts_user_user_permissions": "of Django, unused",
    "privacy_erasure": "of one person, wherever they belong",
    "outbox_heartbeat": "says when a process was last alive",
    "public_catchment": "shared by groups; its name and river are public",
    "tokens_apikey": "a person's, for all their groups",
    "tokens_keptanswer": "a person's, for all their groups",
}


@dataclass(frozen=True)
class Policy:
    """One policy of one table; `needs` are the columns and tables that must be there before it can be made."""

    table: str
    name: str
    command: str
    condition: str
    needs: frozenset[tuple[str, str]]
    # What a changed row must be, where that is not the condition itself.
    becomes: str = ""

    @property
    def rule(self) -> str:
        """How it goes on after "FOR", in SQL."""
        if self.command == "INSERT":
            return f"INSERT WITH CHECK ({self.condition})"
        check = f" WITH CHECK ({self.becomes})" if self.becomes else ""
        return f"{self.command} USING ({self.condition}){check}"

    @property
    def mark(self) -> str:
        """Tells this text from an earlier one, in the policy's comment."""
        return sha256(self.rule.encode()).hexdigest()[:16]


@cache
def all_policies() -> tuple[Policy, ...]:
    """Every policy of the portal's own tables."""
    return tuple(policy for model in our_models() for policy in policies_of(model))


def our_models() -> Iterator[type[models.Model]]:
    """The portal's own models with tables, those between two models as well."""
    for model in apps.get_models(include_auto_created=True):
        if model.__module__.split(".")[0] in OUR_APPS and model._meta.managed and not model._meta.proxy:
            yield model


def policies_of(model: type[models.Model]) -> list[Policy]:
    """The policies of one model; none where the table is of no group."""
    table = model._meta.db_table
    if model is Group:
        return _of_the_group_itself(table)
    if table in WIDE_ONLY:
        return [_policy(table, "wide_only", "ALL", IS_WIDE)]
    if table in NAMED:
        column, parent = NAMED[table]
        seen = f"EXISTS (SELECT FROM {parent} up WHERE up.id = {table}.{column})"
        return [_policy(table, "of_record", "ALL", f"{IS_WIDE} OR {seen}", (table, column))]
    if _has_group(model):
        return _of_column(table)
    parents = _parents(model)
    return _of_parents(table, parents) if parents else []


def _of_the_group_itself(table: str) -> list[Policy]:
    # Names and addresses of groups are public; only its own people change one.
    own = f"{IS_WIDE} OR id = ANY ({GROUPS})"
    return [
        _policy(table, "read_by_all", "SELECT", "true"),
        _policy(table, "changed_by_own", "UPDATE", own),
        _policy(table, "made_by_portal", "INSERT", IS_WIDE),
        _policy(table, "deleted_by_portal", "DELETE", IS_WIDE),
    ]


def _of_column(table: str) -> list[Policy]:
    found = [_policy(table, "of_group", "ALL", f"{IS_WIDE} OR group_id = ANY ({GROUPS})", (table, "group_id"))]
    if table in READ_BY_ALL:
        open_rows = _policy(table, "read_by_all", "SELECT", "group_id IS NULL", (table, "group_id"))
        # Whoever builds on one holds it for a moment, which PostgreSQL takes for a change; none comes of it.
        held = replace(open_rows, name="held_by_all", command="UPDATE", becomes="false")
        found += [open_rows, held]
    return found


def _of_parents(table: str, parents: list[models.ForeignKey[Any, Any]]) -> list[Policy]:
    """Part of rows of other tables, whose own policies say whether they come out."""
    needs = [(table, each.column) for each in parents]
    asked = " AND ".join(_seen(table, each) for each in parents)
    found = [_policy(table, "of_parent", "ALL", f"{IS_WIDE} OR ({asked})", *needs)]
    if any(_table(each) in READ_BY_ALL for each in parents):
        seen = " AND ".join(_seen(table, each, owned=False) for each in parents)
        found.append(_policy(table, "read_by_all", "SELECT", seen, *needs))
    return found


def _seen(table: str, field: models.ForeignKey[Any, Any], *, owned: bool = True) -> str:
    parent = _table(field)
    # What everybody may read is not for everybody to write.
    only = " AND up.group_id IS NOT NULL" if owned and parent in READ_BY_ALL else ""
    key = field.target_field.column
    # A value and not EXISTS, of which PostgreSQL may make a list of all rows that come out, at each query.
    return f"(SELECT true FROM {parent} up WHERE up.{key} = {table}.{field.column}{only})"  # noqa: S608  names of our own


def _parents(model: type[models.Model]) -> list[models.ForeignKey[Any, Any]]:
    """The first step on the way to the group; without a way, every row of a group that it must name."""
    path = str(getattr(model, "group_path", ""))
    if path:
        return [model._meta.get_field(path.split("__")[0])]  # type: ignore[list-item]
    keys = [each for each in model._meta.fields if isinstance(each, models.ForeignKey) and not each.null]
    return [each for each in keys if each.related_model is not Group and is_walled(each.related_model)]


@cache
def is_walled(model: type[models.Model]) -> bool:
    """Whether the rows of a model belong to groups."""
    ours = model.__module__.split(".")[0] in OUR_APPS
    return ours and model._meta.db_table not in UNWALLED and bool(policies_of(model))


def _has_group(model: type[models.Model]) -> bool:
    field = next((each for each in model._meta.fields if each.name == "group"), None)
    return field is not None and field.related_model is Group


def _table(field: models.ForeignKey[Any, Any]) -> str:
    return str(field.related_model._meta.db_table)


def _policy(table: str, name: str, command: str, condition: str, *needs: tuple[str, str]) -> Policy:
    return Policy(table, name, command, condition, frozenset(needs or [(table, "id")]))
