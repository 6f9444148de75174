"""How a group wants to be alerted: waiting times, and quiet for maintenance."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager


class AlertPolicy(models.Model):
    """How a group wants its alerts followed up; a group without a row has the defaults."""

    group = models.OneToOneField("accounts.Group", on_delete=models.CASCADE, related_name="+")
    remind_hours = models.PositiveSmallIntegerField(
        _("hours until a contact who has not acknowledged is reminded"), default=2
    )
    repeat_days = models.PositiveSmallIntegerField(_("days in which a low score should be repeated"), default=3)
    drill_days = models.PositiveSmallIntegerField(
        _("days after which a contact's address should be rehearsed again"), default=180
    )

    objects = GroupOwnedManager()

    class Meta:
        verbose_name_plural = "alert policies"

    def __str__(self) -> str:
        return "alert policy"


class QuietPeriod(models.Model):
    """A time in which no agency is told of a site, for a reason and with an end."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    site = models.ForeignKey("surveys.Site", on_delete=models.CASCADE, related_name="quiet_periods")
    starts_at = models.DateTimeField(default=timezone.now)
    ends_at = models.DateTimeField(_("until"))
    reason = models.CharField(_("reason"), max_length=300)
    set_by = models.ForeignKey("accounts.User", null=True, on_delete=models.PROTECT, related_name="+")

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-starts_at"]
        constraints = [
            models.CheckConstraint(condition=Q(ends_at__gt=models.F("starts_at")), name="quiet_has_an_end"),
            models.CheckConstraint(condition=~Q(reason=""), name="quiet_has_a_reason"),
        ]

    def __str__(self) -> str:
        return f"quiet until {self.ends_at:%Y-%m-%d %H:%M}"
