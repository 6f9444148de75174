"""What validation and scoring said of a visit."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known


class FindingDecision(models.TextChoices):
    OPEN = "", _("to be looked at")
    ACCEPTED = "accepted", _("right as recorded")
    MENDED = "mended", _("mended by a correction")


class Finding(models.Model):
    """Something unusual but possible; a coordinator decides on it with name and reason."""

    Decision = FindingDecision

    group_path = "visit__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    visit = models.ForeignKey("surveys.Visit", on_delete=models.CASCADE, related_name="findings")
    rule = models.CharField(max_length=40)
    field = models.CharField(max_length=200, help_text="Path of the field it concerns, as in a submission.")
    message = models.TextField()
    decision = models.CharField(max_length=10, choices=Decision, blank=True, default=Decision.OPEN)
    decided_by = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    decision_reason = models.TextField(blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["field"]
        constraints = [known("finding_decision_known", decision=FindingDecision.values)]

    def __str__(self) -> str:
        return self.message


class VisitScore(models.Model):
    """One index of one visit with the method version it was made by; earlier scores are kept."""

    group_path = "visit__group"

    visit = models.ForeignKey("surveys.Visit", on_delete=models.CASCADE, related_name="scores")
    index = models.CharField(max_length=30)
    version = models.CharField(max_length=20)
    value = models.FloatField(null=True)
    low = models.FloatField(null=True)
    high = models.FloatField(null=True)
    why_none = models.TextField(blank=True)
    left_out = models.JSONField(default=list)
    is_current = models.BooleanField(default=True)
    scored_at = models.DateTimeField(auto_now_add=True)

    objects = GroupOwnedManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "index"],
                condition=models.Q(is_current=True),
                name="one_current_score_per_index",
            )
        ]

    def __str__(self) -> str:
        return f"{self.index} {self.value}"
