"""Every e-mail the portal sends is a row first."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known


class State(models.TextChoices):
    OWED = "owed", _("waiting to be sent")
    SENT = "sent", _("accepted by the mail server")
    FAILED = "failed", _("could not be delivered")
    CANCELLED = "cancelled", _("no longer needed")


class Message(models.Model):
    """An e-mail owed to one address."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", null=True, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(
        max_length=200, unique=True, help_text="What this message is about; the same is never owed twice."
    )
    kind = models.CharField(max_length=40)
    to_address = models.EmailField(max_length=254)
    to_name = models.CharField(max_length=160, blank=True)
    reply_to = models.CharField(max_length=254, blank=True)
    unsubscribe_url = models.CharField(
        max_length=500, blank=True, help_text="A POST there ends messages of this kind (RFC 8058)."
    )
    subject = models.CharField(max_length=250)
    text = models.TextField()
    html = models.TextField(blank=True)
    picture_maker = models.CharField(max_length=40, blank=True)
    picture_args = models.JSONField(default=dict)
    about_type = models.CharField(max_length=40, blank=True)
    about_id = models.UUIDField(null=True, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.OWED)
    created_at = models.DateTimeField(default=timezone.now)
    not_before = models.DateTimeField(default=timezone.now)
    attempts_made = models.PositiveIntegerField(default=0)
    claimed_until = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        indexes = [
            models.Index(fields=["not_before"], name="outbox_owed", condition=models.Q(state="owed")),
            models.Index(fields=["created_at"], name="outbox_owed_newest", condition=models.Q(state="owed")),
            models.Index(fields=["about_type", "about_id"]),
        ]
        constraints = [known("message_state_known", state=State.values)]

    def __str__(self) -> str:
        return f"{self.kind} to {self.to_address}"


class Attempt(models.Model):
    """One try at sending, with what the mail server answered."""

    group_path = "message__group"

    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="attempts")
    at = models.DateTimeField(default=timezone.now)
    succeeded = models.BooleanField()
    no_server = models.BooleanField(
        default=False, help_text="The server took nothing at all, whichever message it was."
    )
    code = models.PositiveSmallIntegerField(null=True)
    answer = models.TextField(blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["at"]

    def __str__(self) -> str:
        return self.answer


class Heartbeat(models.Model):
    """When a part that works in the background was last alive, for those who watch the portal."""

    name = models.CharField(max_length=40, primary_key=True)
    at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.name} {self.at:%Y-%m-%d %H:%M:%S}"
