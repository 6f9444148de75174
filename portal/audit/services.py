"""Writing and reading the audit trail."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import nullcontext
from typing import Any
from uuid import UUID

from django.db import models
from django.http import HttpRequest
from django.utils import timezone

from portal.accounts.access import Person
from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import wide
from portal.audit.addresses import note_addresses
from portal.audit.models import AuditEntry
from portal.audit.origins import origin
from portal.inserting import Gathered, insert_rows

# But for what the database fills in.
_COLUMNS = (
    *(
        "id",
        "group_id",
        "at",
        "actor_id",
        "actor_name",
        "verb",
        "object_type",
        "object_id",
        "changes",
        "reason",
    ),
    *("way", "way_detail"),
)


def record_change(
    *,
    actor: Person | None,
    verb: str,
    thing: models.Model,
    changes: Mapping[str, Any] | None = None,
    reason: str = "",
    actor_name: str = "",
) -> AuditEntry:
    """Write who did what to `thing`; call it inside the transaction that makes the change.

    `verb` is "noun.action" ("visit.approved"); `changes` maps a field to [old, new]. Without an actor (the
    portal itself, or an agency contact who has no account) `actor_name` says who it was. How it came, and from
    where, is read from `origins`.
    """
    return _written(_entry(actor, verb, thing, changes, reason, actor_name))


def record_event(
    *, verb: str, about: tuple[str, UUID], actor_name: str, changes: Mapping[str, Any] | None = None
) -> AuditEntry:
    """Write what happened to no record of ours; `about` is a kind and a number, `actor_name` who did it."""
    kind, number = about
    entry = AuditEntry(
        **_came(),
        actor_name=actor_name,
        verb=verb,
        object_type=kind,
        object_id=number,
        changes=dict(changes or {}),
    )
    return _written(entry)


def record_taken(request: HttpRequest, thing: models.Model, file: str, *, by: str = "") -> None:
    """Write that somebody takes a file of `thing`; call it before the file is handed out.

    `by` names whoever has no account and came by a link.
    """
    if request.method == "HEAD":
        return
    actor: Person | None = None if by else request.person  # type: ignore[attr-defined]
    changes = {"file": [None, file]}
    record_change(actor=actor, actor_name=by, verb="file.taken", thing=thing, changes=changes)


def record_change_of_each(
    *,
    actor: Person | None,
    verb: str,
    things: Iterable[models.Model],
    changes: Mapping[str, Any] | None = None,
    reason: str = "",
    into: Gathered | None = None,
) -> None:
    """The same for one change to many records, each with a row of its own; `into` as for `insert_rows`."""
    entries = [_entry(actor, verb, thing, changes, reason) for thing in things]
    for each in entries:
        each.at = timezone.now()
    insert_rows(AuditEntry, _COLUMNS, [[getattr(each, name) for name in _COLUMNS] for each in entries], into)
    note_addresses(entries, into)


def _entry(
    actor: Person | None,
    verb: str,
    thing: models.Model,
    changes: Mapping[str, Any] | None,
    reason: str,
    actor_name: str = "",
) -> AuditEntry:
    return AuditEntry(
        **_came(),
        group_id=getattr(thing, "group_id", None),
        actor_id=actor.user_id if actor else None,
        actor_name=actor_name or (actor.name if actor else "Rifflebook"),
        verb=verb,
        object_type=thing._meta.label_lower,
        object_id=thing.pk,
        changes=dict(changes or {}),
        reason=reason,
    )


def _came() -> dict[str, str]:
    return {"way": origin().way, "way_detail": origin().detail[:80]}


def _written(entry: AuditEntry) -> AuditEntry:
    with nullcontext() if entry.group_id else wide("an entry of no group"):
        entry.save(force_insert=True)
        note_addresses([entry])
    return entry


def histories_of(things: Sequence[models.Model], group: UUID) -> dict[UUID, list[AuditEntry]]:
    """All changes of records of one kind, oldest first, by the record's id (one query)."""
    found: dict[UUID, list[AuditEntry]] = {each.pk: [] for each in things}
    kinds = {each._meta.label_lower for each in things}
    rows = AuditEntry.objects.filter(group=group, object_type__in=kinds, object_id__in=list(found))
    for entry in rows.order_by("at", "id"):
        found[entry.object_id].append(entry)
    return found


def history_of(thing: models.Model, group: Group | UUID) -> GroupOwnedQuerySet[AuditEntry]:
    """All changes of one record, oldest first."""
    return history_at(group, thing._meta.label_lower, thing.pk)


def history_at(group: Group | UUID, kind: str, number: UUID) -> GroupOwnedQuerySet[AuditEntry]:
    """The same of the record of that kind ("surveys.visit") and number."""
    found = AuditEntry.objects.filter(group=group)
    return found.filter(object_type=kind, object_id=number).order_by("at", "id")
