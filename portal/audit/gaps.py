"""Changes of rows that no entry of the audit trail explains: made past the portal, by hand in the database."""

from __future__ import annotations

from django.db import models
from django.db.models import Exists, OuterRef, Q, QuerySet

from portal.accounts.prepared import prepared
from portal.accounts.walls import wide
from portal.audit.models import AuditEntry, RowChange

WHY = "an entry explains the rows of its own transaction, whosever they are"


@wide("of a record that was found in its group")
def unexplained_changes(thing: models.Model) -> list[RowChange]:
    """Those of one record and of its parts, oldest first (one query)."""
    return _of_record(thing._meta.db_table, str(thing.pk))


@prepared
def _of_record(table: str, number: str) -> QuerySet[RowChange]:
    return all_unexplained_changes().filter(Q(table=table, row=number) | Q(parent=number))


def all_unexplained_changes() -> QuerySet[RowChange]:
    """Those of all records, oldest first."""
    # A service writes its entry in the transaction that makes the change: neither is there without the other.
    entries = AuditEntry.objects.across_groups(WHY).filter(transaction=OuterRef("transaction"))
    return RowChange.objects.filter(~Exists(entries)).order_by("id")
