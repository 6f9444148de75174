"""Kinds of training that a group keeps, and who was trained, by whom and until when."""

from __future__ import annotations

import uuid
from datetime import date

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known


class Permit(models.TextChoices):
    """What a training lets somebody do."""

    SAMPLE = "sample", _("take a sample without a supervisor")
    IDENTIFY = "identify", _("name the animals")
    LEAD = "lead", _("lead a pair and supervise newcomers")
    FIRST_AID = "first_aid", _("give first aid")
    OTHER = "other", _("nothing by itself")


class TrainingKind(models.Model):
    """One kind of training; without months it does not lapse."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    name = models.CharField(_("name"), max_length=80)
    permits = models.CharField(_("whoever has it may"), max_length=10, choices=Permit, default=Permit.OTHER)
    valid_months = models.PositiveSmallIntegerField(
        _("months until it lapses"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(240)],
        help_text=_("Leave empty for a training that does not lapse."),
    )
    retired_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint("group", Lower("name"), name="training_kind_once_in_a_group"),
            known("training_permit_known", permits=Permit.values),
        ]

    def __str__(self) -> str:
        return self.name


class Training(models.Model):
    """One training of one person. It is in force from its day to `valid_until`, both included."""

    group_path = "membership__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    membership = models.ForeignKey("accounts.Membership", on_delete=models.CASCADE, related_name="trainings")
    kind = models.ForeignKey(TrainingKind, on_delete=models.PROTECT, related_name="trainings")
    trained_on = models.DateField(_("day"))
    trainer = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    trainer_name = models.CharField(_("trainer's name"), max_length=120)
    valid_until = models.DateField(_("valid until"), null=True, blank=True)
    evidence = models.TextField(_("evidence"), blank=True)
    own_visit = models.ForeignKey(
        "surveys.Visit", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    trainers_visit = models.ForeignKey(
        "surveys.Visit", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    agreement = models.JSONField(
        default=list, help_text="The figures of the split sample as they stood: name, value, whether accepted."
    )
    recorded_by = models.ForeignKey("accounts.User", null=True, on_delete=models.SET_NULL, related_name="+")
    recorded_at = models.DateTimeField(auto_now_add=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_reason = models.TextField(blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-trained_on", "-recorded_at"]
        indexes = [models.Index(fields=["valid_until"], name="training_lapses")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(valid_until__isnull=True)
                | models.Q(valid_until__gte=models.F("trained_on")),
                name="training_valid_from_its_day",
            ),
            models.CheckConstraint(condition=~models.Q(trainer_name=""), name="training_by_somebody"),
        ]

    def __str__(self) -> str:
        return f"{self.kind_id} {self.trained_on}"

    @property
    def group_id(self) -> uuid.UUID:
        """The group in whose trail its changes stand."""
        return self.membership.group_id

    def in_force(self, day: date) -> bool:
        """Whether it holds on that day."""
        until = self.valid_until or date.max
        return self.withdrawn_at is None and self.trained_on <= day <= until
