"""When and how far volunteers can go, as they say themselves."""

from __future__ import annotations

import uuid

from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known


class Availability(models.Model):
    """What one member offers to one group. Somebody without a row is never proposed for a visit."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    user = models.ForeignKey("accounts.User", on_delete=models.CASCADE, related_name="+")
    has_said_when = models.BooleanField(
        default=True, help_text="False where somebody has switched reminders off or on and said nothing else."
    )
    weekdays = ArrayField(
        models.PositiveSmallIntegerField(), default=list, blank=True, help_text="0 is Monday, 6 Sunday."
    )
    most_a_month = models.PositiveSmallIntegerField(
        _("visits a month at most"), default=2, validators=[MinValueValidator(1), MaxValueValidator(12)]
    )
    # A person's home is nobody's business to the metre: two decimals are about a kilometre.
    latitude = models.DecimalField(_("latitude"), max_digits=4, decimal_places=2, null=True, blank=True)
    longitude = models.DecimalField(_("longitude"), max_digits=5, decimal_places=2, null=True, blank=True)
    travel_km = models.PositiveSmallIntegerField(
        _("how far you travel, km"),
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(200)],
    )
    near_sites = models.ManyToManyField("surveys.Site", related_name="+", blank=True)
    remind_days = models.PositiveSmallIntegerField(
        _("days before a visit to be reminded"), default=3, validators=[MaxValueValidator(14)]
    )
    first_name_in_calendar = models.BooleanField(_("my first name in the group's calendar"), default=False)
    updated_at = models.DateTimeField(auto_now=True)

    objects = GroupOwnedManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["group", "user"], name="availability_once_a_member"),
            models.CheckConstraint(
                condition=Q(latitude__isnull=True, longitude__isnull=True)
                # Said outright, because to SQL half a place is neither in range nor out of it.
                | Q(latitude__isnull=False, longitude__isnull=False)
                & Q(latitude__range=(-90, 90), longitude__range=(-180, 180)),
                name="availability_home_whole_or_none",
            ),
        ]

    def __str__(self) -> str:
        return f"availability of {self.user_id}"


class DaysKind(models.TextChoices):
    CAN = "can", _("can go")
    AWAY = "away", _("away")


class NamedDays(models.Model):
    """Days on which somebody can beside their usual weekdays, or is away whatever these say."""

    group_path = "availability__group"

    Kind = DaysKind

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    availability = models.ForeignKey(Availability, on_delete=models.CASCADE, related_name="named_days")
    kind = models.CharField(max_length=4, choices=Kind)
    first_day = models.DateField(_("first day"))
    last_day = models.DateField(_("last day"))

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["first_day", "last_day"]
        constraints = [
            models.CheckConstraint(condition=Q(last_day__gte=F("first_day")), name="named_days_in_order"),
            known("named_days_known", kind=DaysKind.values),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.first_day} to {self.last_day}"
