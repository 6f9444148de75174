"""What is kept of a member beside their role: a guardian, whom to ring, and hours given otherwise."""

from __future__ import annotations

import uuid
from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known

MOST_HOURS = 16


class Minor(models.Model):
    """A member under 18: only until when, and the guardian's contact. The row goes on that day.

    Of somebody who left only the day is kept, so that they are flagged if they come back.
    """

    group_path = "membership__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    membership = models.OneToOneField("accounts.Membership", on_delete=models.CASCADE, related_name="minor")
    until = models.DateField(_("18th birthday"), help_text=_("From this day on they count as an adult."))
    guardian_name = models.CharField(_("guardian's name"), max_length=120, blank=True)
    guardian_phone = models.CharField(_("guardian's telephone"), max_length=40, blank=True)
    guardian_email = models.EmailField(_("guardian's e-mail address"), max_length=254, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(guardian_name="", guardian_phone="", guardian_email="")
                | (~models.Q(guardian_name="") & ~models.Q(guardian_phone="", guardian_email="")),
                name="minor_guardian_whole",
            )
        ]

    def __str__(self) -> str:
        return f"minor until {self.until}"


class EmergencyContact(models.Model):
    """Whom to ring if something happens to a member; seen only while it is needed."""

    group_path = "membership__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    membership = models.OneToOneField(
        "accounts.Membership", on_delete=models.CASCADE, related_name="emergency_contact"
    )
    name = models.CharField(_("name"), max_length=120)
    phone = models.CharField(_("telephone"), max_length=40)
    relation = models.CharField(_("who they are to you"), max_length=80, blank=True)
    changed_at = models.DateTimeField(auto_now=True)

    objects = GroupOwnedManager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(name="") & ~models.Q(phone=""), name="emergency_contact_can_be_rung"
            )
        ]

    def __str__(self) -> str:
        return f"emergency contact {self.id}"


class Work(models.TextChoices):
    TRAINING = "training", _("training, given or taken")
    SORTING = "sorting", _("sorting and naming at home")
    COMMITTEE = "committee", _("committee and office")
    KIT = "kit", _("kit, cleaning and repairs")
    OTHER = "other", _("something else")


class OtherHours(models.Model):
    """Hours given beside visits, entered by whoever gave them."""

    group_path = "membership__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, help_text="Made by the form.")
    membership = models.ForeignKey("accounts.Membership", on_delete=models.CASCADE, related_name="other_hours")
    day = models.DateField(_("day"))
    work = models.CharField(_("for what"), max_length=10, choices=Work)
    hours = models.DecimalField(
        _("hours"),
        max_digits=4,
        decimal_places=2,
        validators=[MinValueValidator(Decimal("0.25")), MaxValueValidator(Decimal(MOST_HOURS))],
    )
    note = models.CharField(_("anything to add"), max_length=200, blank=True)
    entered_at = models.DateTimeField(auto_now_add=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-day", "-entered_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(hours__gt=0, hours__lte=MOST_HOURS), name="other_hours_within_a_day"
            ),
            known("other_hours_work_known", work=Work.values),
        ]

    def __str__(self) -> str:
        return f"{self.hours} h {self.day}"
