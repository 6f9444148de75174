"""Repeat visits: asked for after a low score, offered, taken on, made."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known


class RepeatState(models.TextChoices):
    OPEN = "open", _("wanted")
    TAKEN = "taken", _("taken on")
    DONE = "done", _("made")
    LAPSED = "lapsed", _("not made in time")
    CANCELLED = "cancelled", _("no longer needed")


class RepeatRequest(models.Model):
    """A wish for a repeat visit after a low score, offered to volunteers."""

    State = RepeatState

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    incident = models.ForeignKey("alerts.Incident", on_delete=models.CASCADE, related_name="repeats")
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)
    asked_at = models.DateTimeField(default=timezone.now)
    due_on = models.DateField()
    taken_by = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    taken_at = models.DateTimeField(null=True, blank=True)
    visit = models.ForeignKey(
        "surveys.Visit", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-asked_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["incident"],
                condition=Q(state__in=["open", "taken"]),
                name="one_live_repeat_an_incident",
            ),
            models.CheckConstraint(
                condition=~Q(state="taken") | Q(taken_by__isnull=False), name="repeat_taken_by_somebody"
            ),
            known("repeat_state_known", state=RepeatState.values),
        ]

    def __str__(self) -> str:
        return f"repeat by {self.due_on}"


class RepeatOffer(models.Model):
    """One volunteer asked to make a repeat visit, and what they said."""

    group_path = "request__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    request = models.ForeignKey(RepeatRequest, on_delete=models.CASCADE, related_name="offers")
    user = models.ForeignKey("accounts.User", on_delete=models.CASCADE, related_name="+")
    offered_at = models.DateTimeField(default=timezone.now)
    accepted = models.BooleanField(null=True)
    answered_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["offered_at"]
        constraints = [models.UniqueConstraint(fields=["request", "user"], name="offer_once_a_person")]

    def __str__(self) -> str:
        return f"offer {self.id}"
