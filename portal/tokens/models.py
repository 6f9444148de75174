"""Keys of programs, and answers kept so that a request sent twice is done once."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class Scope(models.TextChoices):
    """What a key may be used for; the person's own rights limit it further."""

    READ_SITES = "read:sites", _("read groups, sites, recording lists and triggers")
    WRITE_SITES = "write:sites", _("add and change sites")
    READ_VISITS = "read:visits", _("read visits, their scores and verdicts")
    WRITE_VISITS = "write:visits", _("submit and correct visits, add pictures")
    REVIEW = "review", _("approve and return visits, decide findings")
    READ_INCIDENTS = "read:incidents", _("read incidents")
    WRITE_INCIDENTS = "write:incidents", _("acknowledge incidents and add notes")
    EXPORT = "export", _("take records out as files")
    IMPORT = "import", _("send in sheets of past visits, load them and undo that")
    ROTA = "rota", _("read one's own places on the rota and answer for them")


class ApiKey(models.Model):
    """One key of one person. Only a digest is kept: whoever reads the table cannot use it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey("accounts.User", on_delete=models.CASCADE, related_name="+")
    name = models.CharField(_("what uses it"), max_length=80)
    start = models.CharField(max_length=12, help_text="The first letters, so that its owner knows it again.")
    digest = models.CharField(max_length=64, unique=True)
    scopes = models.JSONField(default=list)
    with_second_factor = models.BooleanField(
        db_default=False, help_text="A key is as good as the session it was made in."
    )
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at"]
        indexes = [models.Index(fields=["user", "-created_at"])]

    def __str__(self) -> str:
        return self.name

    @property
    def is_valid(self) -> bool:
        """Whether it opens anything now."""
        return self.revoked_at is None and self.expires_at > timezone.now()

    @property
    def scope_labels(self) -> list[str]:
        """What it may be used for, in words."""
        return [str(Scope(each).label) for each in self.scopes if each in Scope.values]


class KeptAnswer(models.Model):
    """The answer to a request that carried a key of its own making (Idempotency-Key), kept for a day."""

    user = models.ForeignKey("accounts.User", on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=100)
    request_digest = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(default=0)
    body = models.TextField(blank=True)
    kept_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "key"], name="answer_kept_once")]

    def __str__(self) -> str:
        return self.key
