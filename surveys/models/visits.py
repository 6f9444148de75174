"""Visits and the drafts they grow from."""

from __future__ import annotations

import uuid
from uuid import UUID

from django.db import models
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known, or_blank


class Status(models.TextChoices):
    WAITING = "waiting", _("waiting to be checked")
    RETURNED = "returned", _("returned to the recorder")
    APPROVED = "approved", _("approved")


class NotMade(models.TextChoices):
    TOO_HIGH = "too_high", _("river too high or bed not visible")
    NO_ACCESS = "no_access", _("no access")
    NO_PARTNER = "no_partner", _("nobody to go with")
    ILLNESS = "illness", _("illness")
    DRY = "dry", _("channel dry")
    WEATHER = "weather", _("weather")
    OTHER = "other", _("another reason")


# Those of the river, the site or the sky. The others speak of people, whom a small group would know at once:
# whatever is public says only that such a visit was not made.
PUBLIC_REASONS = frozenset({NotMade.TOO_HIGH, NotMade.NO_ACCESS, NotMade.DRY, NotMade.WEATHER})


class WaterLevel(models.TextChoices):
    LOW = "low", _("low")
    NORMAL = "normal", _("normal")
    HIGH = "high", _("high")
    SPATE = "spate", _("in spate, or falling within a week of one")


class Clarity(models.TextChoices):
    CLEAR = "clear", _("clear, bed visible")
    TINTED = "tinted", _("tinted, bed visible")
    CLOUDY = "cloudy", _("cloudy, bed just visible")
    OPAQUE = "opaque", _("bed not visible")


class Weather(models.TextChoices):
    DRY = "dry", _("dry")
    SHOWERS = "showers", _("showers")
    RAIN = "rain", _("steady rain")
    HEAVY_RAIN = "heavy_rain", _("heavy rain")
    FROST = "frost", _("frost or snow")


class Source(models.TextChoices):
    FORM = "form", _("typed into the portal")
    API = "api", _("sent by a program")
    IMPORT = "import", _("loaded from a spreadsheet")


class PositionSource(models.TextChoices):
    PHONE = "phone", _("told by the phone")
    PHOTO = "photo", _("stood in a picture")
    TYPED = "typed", _("typed in")


# A position that may be farther off than this says nothing about which site it is.
ROUGHEST_M = 5000


class Visit(models.Model):
    """One planned visit to a site: made, with all that was found, or not made, with the reason."""

    id = models.UUIDField(
        primary_key=True, default=uuid.uuid4, help_text="Made by the client, so that a resend is known."
    )
    # The indexes below begin with either, so that one of its own would find nothing more.
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="visits", db_index=False)
    site = models.ForeignKey("surveys.Site", on_delete=models.PROTECT, related_name="visits", db_index=False)
    recording_list = models.ForeignKey("surveys.RecordingList", on_delete=models.PROTECT, related_name="+")
    status = models.CharField(max_length=10, choices=Status, default=Status.WAITING)
    was_made = models.BooleanField(default=True)
    not_made_reason = models.CharField(max_length=20, choices=NotMade, blank=True)
    visited_on = models.DateField(_("date"))
    started_at = models.TimeField(_("start"), null=True, blank=True)
    ended_at = models.TimeField(_("end"), null=True, blank=True)
    recorder = models.ForeignKey("accounts.User", null=True, on_delete=models.SET_NULL, related_name="+")
    recorder_name = models.CharField(max_length=120, blank=True)
    partner = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    partner_name = models.CharField(max_length=120, blank=True)
    water_level = models.CharField(max_length=10, choices=WaterLevel, blank=True)
    clarity = models.CharField(max_length=10, choices=Clarity, blank=True)
    weather = models.CharField(max_length=12, choices=Weather, blank=True)
    weather_past_week = models.CharField(max_length=12, choices=Weather, blank=True)
    fraction_sorted = models.CharField(
        _("fraction sorted"),
        max_length=9,
        blank=True,
        help_text="Share of the tray that was sorted, such as 1/4; empty for all of it.",
    )
    kit = models.ForeignKey(
        "surveys.Kit", null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    position_latitude = models.FloatField(null=True, blank=True, help_text="WGS84, degrees")
    position_longitude = models.FloatField(null=True, blank=True, help_text="WGS84, degrees")
    position_accuracy_m = models.PositiveIntegerField(
        _("accuracy of the position, m"), null=True, blank=True, help_text="Empty where it is not known."
    )
    position_source = models.CharField(
        _("how the position is known"), max_length=5, choices=PositionSource, blank=True
    )
    checklist_done = models.BooleanField(default=False)
    checklist_at = models.TimeField(null=True, blank=True)
    pollution_signs = models.TextField(blank=True)
    notes = models.TextField(blank=True)
    source = models.CharField(max_length=10, choices=Source, default=Source.FORM)
    is_past_record = models.BooleanField(default=False, help_text="Loaded later: scored, but sends no alert.")
    import_run = models.ForeignKey(
        "surveys.ImportRun", null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    entered_by = models.ForeignKey("accounts.User", on_delete=models.PROTECT, related_name="+")
    submitted_at = models.DateTimeField()
    revision = models.PositiveIntegerField(
        default=0, db_default=0, editable=False, help_text="How often it was mended or corrected."
    )
    corrected_by = models.ManyToManyField("accounts.User", blank=True, related_name="+")
    reviewed_by = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    reviewed_at = models.DateTimeField(null=True, blank=True)
    review_message = models.TextField(blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-visited_on", "-submitted_at"]
        indexes = [
            models.Index(fields=["site", "-visited_on"]),
            models.Index(fields=["group", "status", "submitted_at"]),
            # Every list of a group's visits begins with the newest.
            models.Index(fields=["group", "-visited_on", "-submitted_at"], name="visit_newest"),
            # Feeds and pages for everybody begin with what was approved last.
            models.Index(
                fields=["group", "-reviewed_at"],
                condition=models.Q(status="approved"),
                name="visit_approved_last",
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(was_made=True, not_made_reason="")
                | (models.Q(was_made=False) & ~models.Q(not_made_reason="")),
                name="visit_made_or_with_reason",
            ),
            models.CheckConstraint(
                condition=models.Q(fraction_sorted__regex=r"^([1-9][0-9]{0,3}/[1-9][0-9]{0,3})?$"),
                name="visit_fraction_sorted_readable",
            ),
            models.CheckConstraint(
                condition=~models.Q(status="approved") | models.Q(reviewed_by__isnull=False),
                name="visit_approved_by_somebody",
            ),
            models.CheckConstraint(
                condition=~models.Q(status="approved") | ~models.Q(reviewed_by=models.F("entered_by")),
                name="visit_not_approved_by_its_typist",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    position_latitude__isnull=True,
                    position_longitude__isnull=True,
                    position_accuracy_m__isnull=True,
                    position_source="",
                )
                | models.Q(
                    position_latitude__isnull=False,
                    position_longitude__isnull=False,
                    position_source__in=["phone", "photo", "typed"],
                ),
                name="visit_position_whole_or_none",
            ),
            models.CheckConstraint(
                condition=models.Q(position_latitude__isnull=True)
                | models.Q(position_latitude__range=(-90, 90), position_longitude__range=(-180, 180)),
                name="visit_position_on_the_globe",
            ),
            models.CheckConstraint(
                condition=models.Q(position_accuracy_m__isnull=True)
                | models.Q(position_accuracy_m__range=(1, ROUGHEST_M)),
                name="visit_position_accuracy_in_range",
            ),
            known(
                "visit_words_known",
                status=Status.values,
                source=Source.values,
                not_made_reason=or_blank(NotMade.values),
                water_level=or_blank(WaterLevel.values),
                clarity=or_blank(Clarity.values),
                weather=or_blank(Weather.values),
                weather_past_week=or_blank(Weather.values),
                position_source=or_blank(PositionSource.values),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site} {self.visited_on}"

    @property
    def title(self) -> str:
        """What people call it: the site, and the day as their language writes it."""
        return f"{self.site}, {date_format(self.visited_on, 'j F Y')}"

    @property
    def public_reason(self) -> str:
        """Why it was not made, in words for everybody; empty for a reason that speaks of people."""
        is_public = self.not_made_reason in PUBLIC_REASONS
        return str(NotMade(self.not_made_reason).label) if is_public else ""

    @property
    def involved_user_ids(self) -> set[UUID]:
        """Everybody who took part in the visit, typed it or corrected it."""
        took_part = {self.entered_by_id, self.recorder_id, self.partner_id}
        return {each for each in took_part if each} | {each.pk for each in self.corrected_by.all()}


class Draft(models.Model):
    """A visit being typed, kept exactly as entered, faults and all, until it is submitted."""

    id = models.UUIDField(primary_key=True, help_text="Becomes the visit's own number.")
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    site = models.ForeignKey("surveys.Site", on_delete=models.CASCADE, related_name="+")
    entered_by = models.ForeignKey("accounts.User", on_delete=models.CASCADE, related_name="+")
    data = models.JSONField(default=dict)
    updated_at = models.DateTimeField(auto_now=True)

    objects = GroupOwnedManager()

    def __str__(self) -> str:
        return f"draft {self.id}"
