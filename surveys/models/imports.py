"""Spreadsheets loaded into a group."""

from __future__ import annotations

import uuid

from django.db import models

from portal.accounts.scoping import GroupOwnedManager


class ImportRun(models.Model):
    """One spreadsheet: checked, and loaded whole or not at all."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    started_by = models.ForeignKey("accounts.User", null=True, on_delete=models.PROTECT, related_name="+")
    file_name = models.CharField(max_length=200)
    created_at = models.DateTimeField(auto_now_add=True)
    file = models.FileField(
        upload_to="imports/", blank=True, help_text="Kept between the check and the loading, then removed."
    )
    loaded_at = models.DateTimeField(null=True, blank=True)
    visits_loaded = models.PositiveIntegerField(default=0)
    rows_read = models.PositiveIntegerField(default=0)

    objects = GroupOwnedManager()

    def __str__(self) -> str:
        return self.file_name
