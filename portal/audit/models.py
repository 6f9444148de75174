"""Who changed what, when and why. Rows are only ever added: the database refuses to change or delete them."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Func, TextField
from django.db.models.functions import Now
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.audit.origins import Way
from portal.choices import known, or_blank


class Transaction(Func):
    """What tells one database transaction from all others: its number and its second of beginning."""

    function = "audit_transaction"
    arity = 0
    output_field = TextField()


class AuditEntry(models.Model):
    """One change to one record, written in the transaction that made it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    # An index below begins with it.
    group = models.ForeignKey(
        "accounts.Group", null=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    at = models.DateTimeField(auto_now_add=True, db_index=True)
    actor = models.ForeignKey("accounts.User", null=True, on_delete=models.PROTECT, related_name="+")
    actor_name = models.CharField(max_length=160, blank=True)
    verb = models.CharField(max_length=60)
    object_type = models.CharField(max_length=40)
    object_id = models.UUIDField()
    changes = models.JSONField(default=dict)
    reason = models.TextField(blank=True)
    transaction = models.TextField(  # noqa: DJ001
        null=True, editable=False, db_default=Transaction(), help_text="Empty before this was kept."
    )
    erased = models.JSONField(
        default=dict, db_default={}, editable=False, help_text="Part that was taken out to its digest."
    )
    way = models.CharField(
        max_length=9,
        blank=True,
        choices=Way,
        db_default="",
        help_text="How it came into the portal. Empty before this was kept.",
    )
    way_detail = models.CharField(
        max_length=80, blank=True, db_default="", help_text="Which key, link, kind of work, task or command."
    )

    objects = GroupOwnedManager()

    class Meta:
        indexes = [
            models.Index(fields=["object_type", "object_id", "at"]),
            models.Index(fields=["transaction"], name="audit_entry_by_transaction"),
            # Asked by each public page: when anything of a group changed last.
            models.Index(fields=["group", "-at"], name="audit_entry_by_group"),
        ]
        ordering = ["at"]
        constraints = [known("audit_entry_way_known", way=or_blank(Way.values))]

    def __str__(self) -> str:
        return f"{self.actor_name}: {self.verb}"


class RowChange(models.Model):
    """One row changed, whoever did it: written by the database, never by the portal, and only ever added.

    `before` and `after` hold the columns that differ; values of tables with personal data are left out, long
    ones are kept as length and fingerprint. `parent` is the record that the row is a part of, such as the visit
    of a count.
    """

    class Operation(models.TextChoices):
        ADDED = "added", _("added")
        CHANGED = "changed", _("changed")
        DELETED = "deleted", _("deleted")

    id = models.BigAutoField(primary_key=True)
    at = models.DateTimeField(db_default=Now())
    transaction = models.TextField(db_default=Transaction())
    table = models.CharField(max_length=63)
    row = models.CharField(max_length=40, blank=True)
    parent = models.CharField(max_length=40, blank=True)
    operation = models.CharField(max_length=7, choices=Operation)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)
    database_user = models.CharField(max_length=63)
    erased = models.JSONField(
        default=dict, db_default={}, editable=False, help_text="Part that was taken out to its digest."
    )

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(fields=["table", "row"], name="row_change_by_row"),
            models.Index(fields=["parent"], condition=~models.Q(parent=""), name="row_change_by_parent"),
            models.Index(fields=["transaction"], name="row_change_by_transaction"),
        ]

    def __str__(self) -> str:
        return f"{self.table} {self.row}: {self.operation}"


class EntryAddress(models.Model):
    """From which network address an entry came. Personal data: kept for a while, and no part of the trail."""

    entry = models.UUIDField(primary_key=True)
    address = models.GenericIPAddressField()
    at = models.DateTimeField(db_default=Now(), db_index=True)

    def __str__(self) -> str:
        return self.address


class Link(models.Model):
    """One link of the chain over the trail: of one entry, or of one row of the database's own history.

    No foreign keys: a link stays and tells of a row that somebody has removed.
    """

    number = models.BigIntegerField(primary_key=True)
    entry = models.UUIDField(null=True, unique=True)
    change = models.BigIntegerField(null=True, unique=True)
    digest = models.CharField(max_length=64)
    seal = models.CharField(max_length=64)
    sealed_at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(entry=None, change__isnull=False)
                | models.Q(entry__isnull=False, change=None),
                name="link_of_one_row",
            )
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.seal}"


class Waiting(models.Model):
    """A row of the trail or of the history that is to be sealed; the database writes it with the row itself."""

    id = models.BigAutoField(primary_key=True)
    entry = models.UUIDField(null=True)
    change = models.BigIntegerField(null=True)
    since = models.DateTimeField(db_default=Now())

    def __str__(self) -> str:
        return f"since {self.since}"
