"""Yearly reports: made by a task, looked at, then published under a lasting address."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager


class YearlyReport(models.Model):
    """One edition of a group's report on a year."""

    class State(models.TextChoices):
        QUEUED = "queued", _("waiting to be made")
        RUNNING = "running", _("being made")
        READY = "ready", _("draft, ready to read")
        FAILED = "failed", _("could not be made")
        PUBLISHED = "published", _("published")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    year = models.PositiveSmallIntegerField()
    edition = models.PositiveSmallIntegerField(default=1)
    state = models.CharField(max_length=10, choices=State, default=State.QUEUED)
    job = models.ForeignKey(
        "jobs.Job", null=True, blank=True, on_delete=models.SET_NULL, related_name="+", help_text="Makes it."
    )
    problem = models.TextField(blank=True)
    foreword = models.TextField(_("foreword"), blank=True)
    data = models.JSONField(default=dict, help_text="The figures the document stands on, frozen with it.")
    file = models.FileField(upload_to="reports/%Y/", blank=True)
    made_by = models.ForeignKey("accounts.User", null=True, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-year", "-edition"]
        constraints = [
            models.UniqueConstraint(fields=["group", "year", "edition"], name="report_edition_once"),
        ]

    def __str__(self) -> str:
        return f"{self.year}, edition {self.edition}"

    @property
    def is_being_made(self) -> bool:
        return self.state in (self.State.QUEUED, self.State.RUNNING)

    @property
    def is_published(self) -> bool:
        return self.state == self.State.PUBLISHED
