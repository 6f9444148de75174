"""Taking somebody out of the trail, of the history of rows and of sealed steps; each digest stays."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any
from uuid import UUID

from django.db import connection
from django.db.models import Q, TextField
from django.db.models.functions import Cast

from alerts.chain.sealing import sealed_form
from alerts.models import IncidentEvent
from portal.accounts.models import User
from portal.audit.models import AuditEntry, RowChange
from portal.audit.parts import PARTS, ROW_PARTS, take_out
from portal.privacy.words import Replacing

WHY = "somebody is erased wherever they acted"
# What stands in the history of a row for a value that was taken out.
GONE = "…"


def allow_taking_out() -> None:
    """Until the transaction ends the database lets parts of the trail be taken out, by their digests."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL audit.erasing = 'on'")


def take_out_of_steps(user: User, replacing: Replacing, groups: list[UUID]) -> None:
    """Steps of incidents: who acted, and what was noted of them; the seals hold by their digests."""
    rows = IncidentEvent.objects.across_groups(WHY)
    named = Q(incident__group__in=groups) & (_has(replacing, "note") | _has(replacing, "actor_name"))
    for step in rows.filter(Q(actor=user) | named).iterator():
        form = sealed_form(step)
        name = replacing.instead if step.actor_id == user.pk else replacing.in_value(step.actor_name)
        for part, field, after in (
            ("actor", "actor_name", name),
            ("note", "note", replacing.in_value(step.note)),
        ):
            if getattr(step, field) != after:
                step.erased = {**step.erased, part: form[part]}
                setattr(step, field, after)
        step.save(update_fields=["actor_name", "note", "erased"])


def take_out_of_entries(user: User, about: Iterable[UUID], replacing: Replacing, groups: list[UUID]) -> None:
    """The trail: their name where they acted, reasons given about them (`about`), and their words anywhere."""
    own = set(about)
    entries = AuditEntry.objects.across_groups(WHY).annotate(text=Cast("changes", TextField()))
    in_groups = Q(group__in=groups) | Q(group=None)
    named = _has(replacing, "text") | _has(replacing, "reason") | _has(replacing, "actor_name")
    for entry in entries.filter(Q(actor=user) | Q(object_id__in=own) | in_groups & named).iterator():
        wanted = {part: replacing.in_value(getattr(entry, part)) for part in PARTS}
        if entry.actor_id == user.pk:
            wanted["actor_name"] = replacing.instead
            if entry.way == "interface":
                # The name that they gave to the key of their program.
                wanted["way_detail"] = ""
        if entry.object_id in own:
            wanted["reason"] = ""
        _take_out(entry, wanted)


def take_out_of_rows(
    owned: Mapping[str, set[str]], columns: Mapping[str, set[str]], replacing: Replacing
) -> None:
    """The history of rows: what was in `columns` of the rows `owned` (by table), and their words anywhere."""
    for table, numbers in owned.items():
        for change in RowChange.objects.filter(table=table, row__in=numbers).iterator():
            _take_out(change, {part: _emptied(getattr(change, part), columns[table]) for part in ROW_PARTS})
    texts = RowChange.objects.annotate(b=Cast("before", TextField()), a=Cast("after", TextField()))
    for change in texts.filter(_has(replacing, "b") | _has(replacing, "a")).iterator():
        _take_out(change, {part: replacing.in_value(getattr(change, part)) for part in ROW_PARTS})


def rows_of_before(table: str, column: str, value: str) -> Iterator[str]:
    """Numbers of rows that are no more and named `value` in this column."""
    gone = RowChange.objects.filter(table=table, operation="deleted", **{f"before__{column}": value})
    yield from gone.values_list("row", flat=True)


def _emptied(values: dict[str, Any], columns: set[str]) -> dict[str, Any]:
    return {name: GONE if name in columns and value else value for name, value in values.items()}


def _take_out(row: AuditEntry | RowChange, wanted: Mapping[str, Any]) -> None:
    changed = [part for part, after in wanted.items() if getattr(row, part) != after]
    for part in changed:
        take_out(row, part, wanted[part])
    if changed:
        row.save(update_fields=[*changed, "erased"])


def _has(replacing: Replacing, field: str) -> Q:
    some = Q(pk__in=[])
    for word in replacing.words:
        some |= Q(**{f"{field}__icontains": word})
    return some
