"""Erasures that were asked for, and for how long each group keeps what it may choose."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import TYPE_CHECKING

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.privacy.limits import DRAFT_DAYS, MAIL_DAYS, RETURN_DAYS

if TYPE_CHECKING:
    from django.utils.functional import _StrOrPromise

# Long enough to read one's mail after a holiday weekend; our choice.
WAITING_DAYS = 7


def days_field(label: _StrOrPromise, most: int) -> models.PositiveSmallIntegerField[int, int]:
    """So many days; the portal's own choice is the longest."""
    bounds = [MinValueValidator(1), MaxValueValidator(most)]
    return models.PositiveSmallIntegerField(label, default=most, validators=bounds)


class KeepingTerms(models.Model):
    """After how many days a group lets things go, where that is sooner than the portal does."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.OneToOneField("accounts.Group", on_delete=models.CASCADE, related_name="+")
    return_days = days_field(
        _("days after its end until a safe return loses telephone, car and names"), RETURN_DAYS
    )
    mail_days = days_field(_("days until the words of a sent e-mail go"), MAIL_DAYS)
    draft_days = days_field(_("days until a draft goes that nobody went on with"), DRAFT_DAYS)

    objects = GroupOwnedManager()

    def __str__(self) -> str:
        return f"{self.return_days}, {self.mail_days}, {self.draft_days} days"


def _in_a_week() -> object:
    return timezone.now() + timedelta(days=WAITING_DAYS)


class Erasure(models.Model):
    """Somebody is to be erased, and can stop it until `due_at`. Holds no word about them."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    user = models.ForeignKey("accounts.User", on_delete=models.CASCADE, related_name="+")
    asked_by = models.ForeignKey(
        "accounts.User",
        null=True,
        on_delete=models.SET_NULL,
        related_name="+",
        help_text="The person themselves, or the coordinator whom they asked.",
    )
    asked_at = models.DateTimeField(default=timezone.now)
    due_at = models.DateTimeField(default=_in_a_week)
    stopped_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["due_at"], name="erasure_due")]
        constraints = [
            models.UniqueConstraint(
                fields=["user"],
                condition=models.Q(stopped_at=None, done_at=None),
                name="one_erasure_of_a_person_waits",
            )
        ]

    def __str__(self) -> str:
        return f"erasure {self.id}"
