"""What was done and found at a visit: effort, measurements, counts, photos.

Where a unique index begins with the foreign key, the key has none by itself: it would be written with every row
and find nothing more.
"""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known, or_blank


class FlowType(models.TextChoices):
    RIFFLE = "riffle", _("riffle (broken, shallow)")
    RUN = "run", _("run (fast, smooth)")
    GLIDE = "glide", _("glide (slow, smooth)")
    POOL = "pool", _("pool (deep, slow)")
    MARGIN = "margin", _("margin or plants")
    MOUTH = "mouth", _("tributary mouth")


class SpotEffort(models.Model):
    """The kicking really done at one spot."""

    group_path = "visit__group"

    visit = models.ForeignKey("surveys.Visit", on_delete=models.CASCADE, related_name="spots", db_index=False)
    number = models.PositiveSmallIntegerField()
    flow_type = models.CharField(max_length=10, choices=FlowType, blank=True)
    kicks = models.PositiveSmallIntegerField()
    seconds = models.DecimalField(max_digits=6, decimal_places=1, help_text="All kicks together, s")
    depth_cm = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "number"], name="spot_once_in_a_visit"),
            known("spot_flow_type_known", flow_type=or_blank(FlowType.values)),
        ]

    def __str__(self) -> str:
        return f"spot {self.number}"


class TimedKick(models.Model):
    """One kick as the phone timed it, from the sign to start to the sign to stop."""

    group_path = "spot__visit__group"

    spot = models.ForeignKey(
        "surveys.SpotEffort", on_delete=models.CASCADE, related_name="timed", db_index=False
    )
    number = models.PositiveSmallIntegerField(help_text="In the order of the kicks at the spot, from 1.")
    started_at = models.DateTimeField(help_text="By the phone's clock, to the millisecond.")
    seconds = models.DecimalField(max_digits=6, decimal_places=3)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["spot", "number"], name="kick_once_in_a_spot"),
            models.CheckConstraint(condition=Q(seconds__gt=0), name="kick_takes_time"),
        ]

    def __str__(self) -> str:
        return f"kick {self.number}"


class Measurement(models.Model):
    """One reading, kept as typed beside its value; "<0.05" is a limit, neither 0.05 nor zero."""

    group_path = "visit__group"

    visit = models.ForeignKey(
        "surveys.Visit", on_delete=models.CASCADE, related_name="measurements", db_index=False
    )
    quantity = models.CharField(max_length=30)
    unit = models.CharField(max_length=20)
    as_typed = models.CharField(max_length=30)
    value = models.DecimalField(max_digits=12, decimal_places=4)
    is_below_limit = models.BooleanField(default=False)

    objects = GroupOwnedManager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["visit", "quantity"], name="quantity_once_in_a_visit")]

    def __str__(self) -> str:
        return f"{self.quantity} {self.as_typed} {self.unit}"


class TaxonCount(models.Model):
    """How many of a taxon, exact or as a range: 0 is "looked for and absent", no row is "not looked for".

    Without any number it was seen and not counted. `whole_tray` marks what was picked out of the whole tray
    where only a fraction of it was sorted: such a number is never multiplied. `by_key` tells that the name
    was worked out with the identification key.
    """

    group_path = "visit__group"

    visit = models.ForeignKey("surveys.Visit", on_delete=models.CASCADE, related_name="counts", db_index=False)
    taxon = models.CharField(max_length=80)
    recorded_as = models.CharField(max_length=120, blank=True)
    count = models.PositiveIntegerField(null=True, blank=True)
    low = models.PositiveIntegerField(null=True, blank=True)
    high = models.PositiveIntegerField(null=True, blank=True, help_text="Empty for an open-ended range.")
    whole_tray = models.BooleanField(default=False)
    by_key = models.BooleanField(default=False)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "taxon", "recorded_as", "whole_tray"], name="taxon_once_in_a_visit"
            ),
            # "Low is known" is said for each part: a check holds where its answer is unknown.
            models.CheckConstraint(
                condition=Q(count__isnull=False, low__isnull=True, high__isnull=True)
                | Q(count__isnull=True, low__isnull=False, low__gte=1)
                | Q(count__isnull=True, low__isnull=True, high__isnull=True),
                name="count_range_or_presence",
            ),
            models.CheckConstraint(
                condition=Q(high__isnull=True) | Q(high__gte=F("low")), name="range_upwards"
            ),
        ]

    def __str__(self) -> str:
        return self.recorded_as or self.taxon


class Photo(models.Model):
    """A picture of a draft or visit (both carry the same number), re-encoded without its metadata."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    visit_number = models.UUIDField(db_index=True)
    file = models.ImageField(upload_to="photos/%Y/%m/")
    caption = models.CharField(max_length=160, blank=True)
    added_by = models.ForeignKey("accounts.User", null=True, on_delete=models.SET_NULL, related_name="+")
    added_at = models.DateTimeField(auto_now_add=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["added_at"]

    def __str__(self) -> str:
        return self.caption or str(self.id)
