"""Scoring many visits anew, in the background."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager


class RescoreRun(models.Model):
    """One pass over a group's visits whose scores were made by another version of a method."""

    class State(models.TextChoices):
        QUEUED = "queued", _("waiting for a free worker")
        RUNNING = "running", _("running")
        DONE = "done", _("finished")
        STOPPED = "stopped", _("stopped by hand")
        FAILED = "failed", _("broken off")

    LIVE = (State.QUEUED, State.RUNNING)

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    started_by = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    reason = models.TextField(_("why"))
    state = models.CharField(max_length=10, choices=State, default=State.QUEUED)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    created_at = models.DateTimeField(auto_now_add=True)
    claimed_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0, help_text="How often a worker has begun.")

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-created_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["group"],
                condition=models.Q(state__in=["queued", "running"]),
                name="one_live_rescoring_in_a_group",
            )
        ]

    def __str__(self) -> str:
        return f"{self.done} of {self.total}"

    @property
    def is_live(self) -> bool:
        """Whether it waits or runs."""
        return self.state in self.LIVE
