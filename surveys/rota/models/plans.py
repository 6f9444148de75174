"""Planned visits and who goes: drafts until a coordinator publishes them."""

from __future__ import annotations

import uuid
from datetime import date, datetime, time, timedelta
from uuid import UUID

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known

# Ten in the morning is common practice, no source: light enough all year, and time left if it takes longer.
USUAL_START = time(10, 0)


class Proposal(models.Model):
    """The latest proposal of a group: over which days, and what could not be planned at all."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.OneToOneField("accounts.Group", on_delete=models.CASCADE, related_name="+")
    made_by = models.ForeignKey("accounts.User", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    first_day = models.DateField()
    last_day = models.DateField()
    # Sentences as they were said then: sites change, and the draft was made of what they were.
    left_out = models.JSONField(default=list)
    is_best = models.BooleanField(default=True)
    seconds = models.FloatField(default=0.0)

    objects = GroupOwnedManager()

    def __str__(self) -> str:
        return f"rota from {self.first_day} to {self.last_day}"


class PlanState(models.TextChoices):
    DRAFT = "draft", _("draft")
    PUBLISHED = "published", _("planned")
    CANCELLED = "cancelled", _("called off")


class PlannedVisit(models.Model):
    """One visit to one site on one day. A recorded visit from `window_from` to `window_until` answers it."""

    State = PlanState

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    site = models.ForeignKey("surveys.Site", on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    day = models.DateField(_("day"))
    start = models.TimeField(_("start"), default=USUAL_START)
    due_on = models.DateField()
    window_from = models.DateField()
    window_until = models.DateField()
    people_needed = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(4)])
    open_because = models.TextField(blank=True)
    # What a coordinator has touched is kept when a proposal is made anew.
    by_hand = models.BooleanField(default=False)
    published_at = models.DateTimeField(null=True, blank=True)
    cancelled_why = models.CharField(max_length=300, blank=True)
    # For calendars: a higher number replaces what a subscriber has (RFC 5545, 3.8.7.4).
    sequence = models.PositiveIntegerField(default=0)
    updated_at = models.DateTimeField(default=timezone.now)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["day", "start", "site__code"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "day"],
                condition=~Q(state="cancelled"),
                name="one_planned_visit_a_site_and_day",
            ),
            models.CheckConstraint(
                condition=Q(window_from__lte=F("day"), window_until__gte=F("day")),
                name="planned_visit_within_its_window",
            ),
            models.CheckConstraint(
                condition=Q(people_needed__range=(1, 4)), name="planned_visit_people_from_one_to_four"
            ),
            known("planned_visit_state_known", state=PlanState.values),
        ]
        indexes = [models.Index(fields=["group", "state", "day"])]

    def __str__(self) -> str:
        return f"{self.site} {self.day}"

    @property
    def is_published(self) -> bool:
        return self.state == self.State.PUBLISHED

    @property
    def is_draft(self) -> bool:
        return self.state == self.State.DRAFT

    @property
    def week_begins(self) -> date:
        """The Monday of its week."""
        return self.day - timedelta(days=self.day.weekday())

    @property
    def lasts(self) -> timedelta:
        """How long it takes, as its site says."""
        return timedelta(minutes=self.site.visit_minutes)

    @property
    def ends(self) -> time:
        """About when it is over, by the clock of its day."""
        return (datetime.combine(self.day, self.start) + self.lasts).time()

    def is_coming(self) -> bool:
        """Whether its day is today or later."""
        return self.day >= timezone.localdate()


class PlaceState(models.TextChoices):
    PROPOSED = "proposed", _("proposed")
    ASKED = "asked", _("asked, no answer yet")
    ACCEPTED = "accepted", _("coming")
    DECLINED = "declined", _("cannot")
    REMOVED = "removed", _("taken off")
    SWAPPED = "swapped", _("swapped")


class Assignment(models.Model):
    """One person down for one planned visit; kept when they no longer are, so that calendars can say so."""

    group_path = "planned__group"

    State = PlaceState

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    planned = models.ForeignKey(PlannedVisit, on_delete=models.CASCADE, related_name="assignments")
    user = models.ForeignKey("accounts.User", on_delete=models.CASCADE, related_name="+")
    state = models.CharField(max_length=10, choices=State, default=State.PROPOSED)
    # The day of the planned visit, kept here so that the database itself refuses two visits on one day.
    day = models.DateField()
    why = models.TextField(blank=True)
    by_hand = models.BooleanField(default=False)
    told_at = models.DateTimeField(null=True, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    reminded_of = models.DateField(null=True, blank=True)
    sequence = models.PositiveIntegerField(default=0)
    updated_at = models.DateTimeField(default=timezone.now)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["user__name"]
        constraints = [
            models.UniqueConstraint(fields=["planned", "user"], name="assignment_once_a_person"),
            models.UniqueConstraint(
                fields=["user", "day"],
                condition=Q(state__in=["asked", "accepted"]),
                name="nobody_twice_a_day",
            ),
            known("assignment_state_known", state=PlaceState.values),
        ]

    def __str__(self) -> str:
        return f"{self.user_id} {self.day} {self.state}"

    @property
    def group_id(self) -> UUID:
        return self.planned.group_id

    @property
    def is_live(self) -> bool:
        """Whether this person is down for the visit, and has been told."""
        return self.state in LIVE


LIVE = (Assignment.State.ASKED, Assignment.State.ACCEPTED)
