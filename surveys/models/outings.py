"""What surrounds a visit: the group's rules and checklist, its kit and the river's level."""

from __future__ import annotations

import uuid

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Lower
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known

# Common practice, no source: an evening's outing is over by then, and a search would still have daylight.
AGAIN_MINUTES, COORDINATORS_MINUTES, NAMED_MINUTES = 15, 30, 45
# Common practice, no source: Anderson et al. 2015 found drying better than doing nothing only from day four on.
DRYING_DAYS = 5
LONGEST_WAIT = 600


def _minutes(label: Promise | str, default: int) -> models.PositiveSmallIntegerField[int, int]:
    limits = [MinValueValidator(1), MaxValueValidator(LONGEST_WAIT)]
    return models.PositiveSmallIntegerField(label, default=default, validators=limits)  # type: ignore[arg-type]


class OutingRules(models.Model):
    """How a group goes out: its checklist, one line an item, and its times. The audit trail keeps changes."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.OneToOneField("accounts.Group", on_delete=models.CASCADE, related_name="+")
    before = models.TextField(_("before you leave"), blank=True)
    at_water = models.TextField(_("at the water"), blank=True)
    after = models.TextField(_("afterwards"), blank=True)
    drying_days = models.PositiveSmallIntegerField(
        _("days that kit dries before it goes to another water"),
        default=DRYING_DAYS,
        validators=[MinValueValidator(1), MaxValueValidator(60)],
    )
    again_minutes = _minutes(_("minutes overdue until the pair is reminded again"), AGAIN_MINUTES)
    coordinators_minutes = _minutes(_("minutes overdue until the coordinators are told"), COORDINATORS_MINUTES)
    named_minutes = _minutes(_("minutes overdue until the named person is told"), NAMED_MINUTES)
    emergency_words = models.TextField(_("whom to telephone when nobody answers"), blank=True)

    objects = GroupOwnedManager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(again_minutes__gte=1)
                & models.Q(coordinators_minutes__gt=models.F("again_minutes"))
                & models.Q(named_minutes__gt=models.F("coordinators_minutes")),
                name="outing_rules_steps_ascend",
            )
        ]

    def __str__(self) -> str:
        return f"outing rules of {self.group_id}"


class Kit(models.Model):
    """Gear that goes out together: net, trays, waders. What touched one water may carry it to the next."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="kits")
    name = models.CharField(_("name"), max_length=80, help_text=_("As on its label, such as “Red bag”."))
    holds = models.TextField(_("what it holds"), blank=True)
    retired_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint("group", Lower("name"), name="kit_name_once_in_a_group")]

    def __str__(self) -> str:
        return self.name


class CleaningMethod(models.TextChoices):
    DRIED = "dried", _("checked, cleaned, and hung up to dry")
    HOT_WATER = "hot_water", _("checked, and washed or soaked in hot water")
    DISINFECTED = "disinfected", _("checked, cleaned, and disinfected by local rules")
    RINSED = "rinsed", _("checked and rinsed only")


class KitCleaning(models.Model):
    """How and when a kit was cleaned; drying begins on that day."""

    group_path = "kit__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kit = models.ForeignKey(Kit, on_delete=models.CASCADE, related_name="cleanings")
    method = models.CharField(_("how"), max_length=12, choices=CleaningMethod)
    cleaned_on = models.DateField(_("day"))
    cleaned_by = models.ForeignKey("accounts.User", null=True, on_delete=models.SET_NULL, related_name="+")
    note = models.CharField(_("anything to add"), max_length=200, blank=True)
    recorded_at = models.DateTimeField(auto_now_add=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-cleaned_on", "-recorded_at"]
        constraints = [known("kit_cleaning_method_known", method=CleaningMethod.values)]

    def __str__(self) -> str:
        return f"{self.kit_id} {self.method} {self.cleaned_on}"


class RiverReport(models.Model):
    """What somebody read at a site's gauge, or that the river is too high; it holds for a while."""

    group_path = "site__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    site = models.ForeignKey("surveys.Site", on_delete=models.CASCADE, related_name="river_reports")
    level_m = models.DecimalField(
        _("reading of the gauge, m"), max_digits=6, decimal_places=3, null=True, blank=True
    )
    too_high = models.BooleanField(_("too high"), default=False)
    reported_by = models.ForeignKey("accounts.User", null=True, on_delete=models.SET_NULL, related_name="+")
    reported_at = models.DateTimeField()
    holds_until = models.DateTimeField(_("holds until"))

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-reported_at"]
        indexes = [models.Index(fields=["site", "-reported_at"], name="river_report_newest")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(too_high=True) | models.Q(level_m__isnull=False),
                name="river_report_says_something",
            ),
            models.CheckConstraint(
                condition=models.Q(holds_until__gt=models.F("reported_at")), name="river_report_ends_later"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site_id} {self.reported_at}"

    @property
    def is_above(self) -> bool:
        """Whether it says that the river is above the site's limit as that stands now (reads the site)."""
        limit = self.site.level_limit_m
        return self.too_high or (limit is not None and self.level_m is not None and self.level_m > limit)
