"""Sites: the places a group goes back to."""

from __future__ import annotations

import uuid
from datetime import date

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.dates import MONTHS
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known
from surveys.models.codes import by_code


class Site(models.Model):
    """One reach that is sampled in the same way every time."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="sites")
    code = models.CharField(_("code"), max_length=20, help_text=_("Short and lasting, as on your labels."))
    name = models.CharField(_("name"), max_length=120)
    river = models.CharField(_("river"), max_length=120)
    catchment = models.CharField(
        _("catchment"),
        max_length=120,
        blank=True,
        help_text=_("The river system, if several of your rivers join. Kit is cleaned between catchments."),
    )
    latitude = models.FloatField(
        _("latitude"), validators=[MinValueValidator(-90), MaxValueValidator(90)], help_text="WGS84, degrees"
    )
    longitude = models.FloatField(
        _("longitude"),
        validators=[MinValueValidator(-180), MaxValueValidator(180)],
        help_text="WGS84, degrees",
    )
    location_as_typed = models.CharField(_("location as typed"), max_length=80, blank=True)
    location_precision_m = models.PositiveIntegerField(_("precision of the location, m"), default=10)
    downstream = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="upstream",
        verbose_name=_("next site downstream"),
    )
    spots = models.PositiveSmallIntegerField(
        _("spots"), default=3, validators=[MinValueValidator(1), MaxValueValidator(12)]
    )
    kicks_per_spot = models.PositiveSmallIntegerField(
        _("kicks at each spot"), default=3, validators=[MinValueValidator(1), MaxValueValidator(20)]
    )
    seconds_per_kick = models.PositiveSmallIntegerField(
        _("seconds for each kick"), default=10, validators=[MinValueValidator(1), MaxValueValidator(240)]
    )
    recording_list = models.ForeignKey(
        "surveys.RecordingList", on_delete=models.PROTECT, related_name="+", verbose_name=_("recording list")
    )
    visit_interval_days = models.PositiveSmallIntegerField(
        _("days between visits"), default=30, validators=[MinValueValidator(1), MaxValueValidator(366)]
    )
    people_needed = models.PositiveSmallIntegerField(
        _("people for a visit"),
        default=2,
        validators=[MinValueValidator(1), MaxValueValidator(4)],
        help_text=_("How many the rota plans for. Two adults at least are common practice."),
    )
    # How long a visit with its counting takes: common practice, no source.
    visit_minutes = models.PositiveSmallIntegerField(
        _("minutes for a visit"),
        default=120,
        validators=[MinValueValidator(15), MaxValueValidator(720)],
        help_text=_(
            "From the start to the last kit cleaned: for calendars, and for hours where no end was noted."
        ),
    )
    season_first_month = models.PositiveSmallIntegerField(
        _("visited from"), choices=MONTHS.items(), null=True, blank=True
    )
    season_last_month = models.PositiveSmallIntegerField(
        _("until the end of"),
        choices=MONTHS.items(),
        null=True,
        blank=True,
        help_text=_("Leave both empty for a site that is visited all year."),
    )
    hazards = models.TextField(_("hazards"), blank=True)
    access_notes = models.TextField(_("how to get there"), blank=True)
    level_limit = models.CharField(
        _("when the river is too high here"),
        max_length=200,
        blank=True,
        help_text=_("In words, such as: the third stepping stone is under water."),
    )
    gauge_name = models.CharField(_("gauge"), max_length=120, blank=True)
    gauge_link = models.URLField(_("where the gauge is read"), max_length=300, blank=True)
    level_limit_m = models.DecimalField(
        _("limit at the gauge, m"), max_digits=6, decimal_places=3, null=True, blank=True
    )
    landowner = models.CharField(_("who gave permission"), max_length=160, blank=True)
    permission_conditions = models.TextField(_("conditions of the permission"), blank=True)
    permission_from = models.DateField(_("permission from"), null=True, blank=True)
    permission_until = models.DateField(_("permission until"), null=True, blank=True)
    opened_on = models.DateField(_("first visit possible on"), null=True, blank=True)
    closed_on = models.DateField(_("closed on"), null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = by_code()
        constraints = [
            models.UniqueConstraint(fields=["group", "code"], name="site_code_once_in_a_group"),
            models.CheckConstraint(
                condition=models.Q(latitude__range=(-90, 90), longitude__range=(-180, 180)),
                name="site_on_the_globe",
            ),
            models.CheckConstraint(
                condition=~models.Q(downstream=models.F("id")), name="site_not_its_own_downstream"
            ),
            models.CheckConstraint(
                condition=models.Q(people_needed__range=(1, 4)), name="site_people_from_one_to_four"
            ),
            models.CheckConstraint(
                condition=models.Q(season_first_month__isnull=True, season_last_month__isnull=True)
                | models.Q(season_first_month__isnull=False, season_last_month__isnull=False),
                name="site_season_whole_or_none",
            ),
            known("site_season_known", season_first_month=MONTHS, season_last_month=MONTHS),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    @property
    def planned_seconds(self) -> int:
        """Kicking time of the standard effort, in seconds."""
        return self.spots * self.kicks_per_spot * self.seconds_per_kick

    @property
    def water(self) -> str:
        """The water that kit carries from here: the catchment, or the river where none is given."""
        return self.catchment or self.river

    def clean(self) -> None:
        """Say kindly, at the field, what the constraint on the season only refuses."""
        if (self.season_first_month is None) != (self.season_last_month is None):
            missing = "season_last_month" if self.season_last_month is None else "season_first_month"
            raise ValidationError({missing: _("Give both months of the season, or neither.")})

    def in_season(self, day: date) -> bool:
        """Whether the site is visited in the month of `day`; a season may run over the turn of the year."""
        first, last = self.season_first_month, self.season_last_month
        if first is None or last is None:
            return True
        is_after, is_before = day.month >= first, day.month <= last
        return (is_after and is_before) if first <= last else (is_after or is_before)

    def season_day(self, day: date) -> date:
        """`day`, or the first day of the next season where it lies outside one."""
        first = self.season_first_month
        if first is None or self.in_season(day):
            return day
        return date(day.year + (first < day.month), first, 1)

    def permission_lapsed(self, day: date) -> bool:
        """Whether the landowner's permission has run out by `day`."""
        return self.permission_until is not None and self.permission_until < day
