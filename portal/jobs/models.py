"""One row for each piece of long work; nothing about it is kept by the broker alone."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known
from portal.jobs.kinds import kind_of


class JobState(models.TextChoices):
    QUEUED = "queued", _("waiting its turn")
    RUNNING = "running", _("running")
    DONE = "done", _("finished")
    STOPPED = "stopped", _("stopped by hand")
    FAILED = "failed", _("broken off")


class Job(models.Model):
    """Long work for one group: who ordered what, how far it is, and what came of it."""

    State = JobState

    LIVE = (State.QUEUED, State.RUNNING)

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    started_by = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    kind = models.CharField(max_length=40)
    key = models.CharField(
        max_length=80, blank=True, help_text="Of jobs with the same key a group has only one under way."
    )
    label = models.CharField(max_length=200)
    reason = models.TextField(_("why"), blank=True)
    language = models.CharField(
        max_length=10,
        blank=True,
        default="",
        # Also in the database, for a worker of the release before that still writes rows.
        db_default="",
        help_text="In which it was ordered, and is told. Blank: the group's.",
    )
    parameters = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=State, default=State.QUEUED)
    step = models.CharField(max_length=200, blank=True)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    created_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    claimed_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0, help_text="How often a worker has begun.")
    problem = models.TextField(blank=True)
    summary = models.TextField(blank=True)
    link = models.CharField(max_length=300, blank=True, help_text="Page that shows what came of it.")
    file = models.FileField(upload_to="jobs/", blank=True)
    file_name = models.CharField(max_length=200, blank=True)
    file_until = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-created_at"]
        indexes = [models.Index(fields=["group", "-created_at"]), models.Index(fields=["state"])]
        constraints = [
            models.UniqueConstraint(
                fields=["group", "key"],
                condition=models.Q(state__in=["queued", "running"]) & ~models.Q(key=""),
                name="one_live_job_of_a_key",
            ),
            known("job_state_known", state=JobState.values),
        ]

    def __str__(self) -> str:
        return self.label

    @property
    def is_live(self) -> bool:
        """Whether it waits or runs."""
        return self.state in self.LIVE

    @property
    def is_private(self) -> bool:
        """Whether nobody but whoever ordered it may see it."""
        kind = kind_of(self.kind)
        return kind is not None and kind.is_private

    @property
    def kind_label(self) -> str | Promise:
        """What kind of work it is, in words."""
        kind = kind_of(self.kind)
        return kind.label if kind else self.kind
