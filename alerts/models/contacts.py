"""Whom a group tells: contacts at agencies, when they are at work, and rehearsals."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager


class AgencyContact(models.Model):
    """Whom the group tells: a named person at an agency, with or without an account."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="contacts")
    name = models.CharField(_("name"), max_length=120)
    organisation = models.CharField(_("agency"), max_length=160)
    email = models.EmailField(_("e-mail address"))
    # A column and no index over LOWER: below a policy, PostgreSQL looks only plain columns up by an index.
    address = models.GeneratedField(
        expression=Lower("email"), output_field=models.CharField(max_length=254), db_persist=True
    )
    phone = models.CharField(_("telephone"), max_length=40, blank=True)
    duty_line = models.CharField(_("incident line of the agency"), max_length=40, blank=True)
    language = models.CharField(_("language"), max_length=10, blank=True, help_text="Blank: the group's.")
    is_active = models.BooleanField(default=True)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["name"]
        # Whoever signs in is known again by any of their addresses, among the contacts of all groups.
        indexes = [models.Index(fields=["address"], name="contact_known_by")]

    def __str__(self) -> str:
        return f"{self.name}, {self.organisation}"


class SiteContact(models.Model):
    """A contact named for a site; the lowest order is told first."""

    group_path = "site__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    site = models.ForeignKey("surveys.Site", on_delete=models.CASCADE, related_name="contacts")
    contact = models.ForeignKey(AgencyContact, on_delete=models.CASCADE, related_name="sites")
    order = models.PositiveSmallIntegerField(default=1)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["order", "id"]
        constraints = [models.UniqueConstraint(fields=["site", "contact"], name="contact_once_per_site")]

    def __str__(self) -> str:
        return f"{self.order}. {self.contact}"


class ContactHours(models.Model):
    """A stretch of a weekday in which a contact is at work; a contact without any is always told."""

    group_path = "contact__group"

    contact = models.ForeignKey(AgencyContact, on_delete=models.CASCADE, related_name="hours")
    weekday = models.PositiveSmallIntegerField(help_text="0 is Monday.")
    opens = models.TimeField(_("from"))
    closes = models.TimeField(_("until"))

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["weekday", "opens"]
        constraints = [
            models.UniqueConstraint(fields=["contact", "weekday"], name="hours_once_a_weekday"),
            models.CheckConstraint(condition=Q(weekday__lte=6), name="hours_on_a_weekday"),
            models.CheckConstraint(condition=Q(closes__gt=models.F("opens")), name="hours_forwards"),
        ]

    def __str__(self) -> str:
        return f"{self.weekday} {self.opens}-{self.closes}"


class ContactAbsence(models.Model):
    """Days on which a contact is away, both ends included."""

    group_path = "contact__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    contact = models.ForeignKey(AgencyContact, on_delete=models.CASCADE, related_name="absences")
    first_day = models.DateField(_("first day"))
    last_day = models.DateField(_("last day"))
    note = models.CharField(_("note"), max_length=160, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["first_day"]
        constraints = [
            models.CheckConstraint(condition=Q(last_day__gte=models.F("first_day")), name="absence_forwards")
        ]

    def __str__(self) -> str:
        return f"{self.first_day} to {self.last_day}"


class Holiday(models.Model):
    """A day on which nobody at the agencies works."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    day = models.DateField(_("day"))
    name = models.CharField(_("name"), max_length=80)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["day"]
        constraints = [models.UniqueConstraint(fields=["group", "day"], name="holiday_once")]

    def __str__(self) -> str:
        return f"{self.day} {self.name}"


class Drill(models.Model):
    """A rehearsal: a message marked as one, sent to a contact who acknowledges it like an alert."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    contact = models.ForeignKey(AgencyContact, on_delete=models.CASCADE, related_name="drills")
    sent_by = models.ForeignKey("accounts.User", null=True, on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField(default=timezone.now)
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    failure = models.TextField(blank=True, help_text="What the mail server answered when it refused for good.")

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-sent_at"]

    def __str__(self) -> str:
        return f"drill {self.sent_at:%Y-%m-%d}"
