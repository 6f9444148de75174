"""Who changed what, when and why. Rows are only ever added: the database refuses to change or delete them."""

from __future__ import annotations

import uuid

from django.db import models

from portal.accounts.scoping import GroupOwnedManager


class AuditEntry(models.Model):
    """One change to one record, written in the transaction that made it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True, db_index=True)
    actor = models.ForeignKey("accounts.User", null=True, on_delete=models.PROTECT, related_name="+")
    actor_name = models.CharField(max_length=160, blank=True)
    verb = models.CharField(max_length=60)
    object_type = models.CharField(max_length=40)
    object_id = models.UUIDField()
    changes = models.JSONField(default=dict)
    reason = models.TextField(blank=True)

    objects = GroupOwnedManager()

    class Meta:
        indexes = [models.Index(fields=["object_type", "object_id", "at"])]
        ordering = ["at"]

    def __str__(self) -> str:
        return f"{self.actor_name}: {self.verb}"
