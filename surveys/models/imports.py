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
    plan = models.JSONField(default=dict, help_text="What the columns and cells of the sheet mean.")
    report = models.JSONField(null=True, blank=True, help_text="What the last check found.")
    checked_at = models.DateTimeField(null=True, blank=True)
    to_mend = models.FileField(
        upload_to="imports/", blank=True, help_text="The rows with problems, as a sheet of their own."
    )
    left_out = models.PositiveIntegerField(default=0, help_text="Visits with problems that were not loaded.")
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    undone_reason = models.TextField(blank=True)

    objects = GroupOwnedManager()

    def __str__(self) -> str:
        return self.file_name


class ImportMapping(models.Model):
    """What the columns of a group's sheets of one making mean, for the next sheet with the same header."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    name = models.CharField(max_length=200, blank=True, help_text="The sheet that it was said for first.")
    signature = models.CharField(max_length=64)
    plan = models.JSONField(default=dict)
    changed_at = models.DateTimeField(auto_now=True)
    changed_by = models.ForeignKey("accounts.User", null=True, on_delete=models.PROTECT, related_name="+")

    objects = GroupOwnedManager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["group", "signature"], name="one_mapping_of_a_header")]

    def __str__(self) -> str:
        return self.signature
