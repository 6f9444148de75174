"""Triggers, verdicts on visits, agency contacts and incidents."""

from __future__ import annotations

import uuid
from uuid import UUID

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.accounts.addresses import accounts_at
from portal.accounts.scoping import GroupOwnedManager


class Trigger(models.Model):
    """The level of an index below which the agency is told. Old ones are kept; none is ever back-dated."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    site = models.ForeignKey("surveys.Site", on_delete=models.CASCADE, related_name="triggers")
    index = models.CharField(_("index"), max_length=30)
    level = models.FloatField(
        _("level"), help_text=_("The agency is told when a score is strictly below this.")
    )
    valid_from = models.DateField(_("valid from"))
    set_by = models.ForeignKey("accounts.User", null=True, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField(_("why this level"))
    despite_provisional = models.BooleanField(
        _("test visits although the baseline is provisional"),
        default=False,
        help_text=_("Below 8 approved standard visits nobody knows well what is normal at a site."),
    )
    advice = models.JSONField(
        default=dict,
        blank=True,
        help_text="Record of alerts.advice: what was known of this level when it was set.",
    )
    created_at = models.DateTimeField(auto_now_add=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["valid_from", "created_at"]

    def __str__(self) -> str:
        return f"{self.index} < {self.level:g}"


class Verdict(models.Model):
    """What a visit meant against the site's trigger: below, not below, or not tested and why."""

    class Outcome(models.TextChoices):
        BELOW = "below", _("below the trigger")
        NOT_BELOW = "not_below", _("not below the trigger")
        NOT_TESTED = "not_tested", _("not tested against the trigger")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    visit = models.OneToOneField("surveys.Visit", on_delete=models.CASCADE, related_name="verdict")
    outcome = models.CharField(max_length=12, choices=Outcome)
    trigger = models.ForeignKey(Trigger, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    value = models.FloatField(null=True, blank=True)
    reasons = models.JSONField(
        default=list, help_text="Codes of alerts.verdicts.REASONS: why it was not tested."
    )
    set_aside = models.JSONField(
        default=list, help_text="Codes of reasons against testing that were overridden, for the reader to know."
    )
    tested_anyway_by = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    tested_anyway_reason = models.TextField(blank=True)
    decided_at = models.DateTimeField(default=timezone.now)

    objects = GroupOwnedManager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(outcome="not_tested") | Q(trigger__isnull=False, value__isnull=False),
                name="verdict_stands_on_a_trigger",
            )
        ]

    def __str__(self) -> str:
        return self.get_outcome_display()


class AgencyContact(models.Model):
    """Whom the group tells: a named person at an agency, with or without an account."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="contacts")
    name = models.CharField(_("name"), max_length=120)
    organisation = models.CharField(_("agency"), max_length=160)
    email = models.EmailField(_("e-mail address"))
    phone = models.CharField(_("telephone"), max_length=40, blank=True)
    duty_line = models.CharField(_("incident line of the agency"), max_length=40, blank=True)
    is_active = models.BooleanField(default=True)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["name"]

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


class IncidentState(models.TextChoices):
    HELD = "held", _("held for the group's check")
    OPEN = "open", _("open")
    ACKNOWLEDGED = "acknowledged", _("acknowledged")
    WITHDRAWN = "withdrawn", _("withdrawn")
    CLOSED = "closed", _("closed")


class Outcome(models.TextChoices):
    SOURCE_STOPPED = "source_stopped", _("source found and stopped")
    SOURCE_SUSPECTED = "source_suspected", _("source suspected")
    NATURAL = "natural", _("natural cause")
    METHOD_ERROR = "method_error", _("sampling or counting error")
    NOT_CONFIRMED = "not_confirmed", _("not confirmed by a repeat visit")
    NO_RESPONSE = "no_response", _("no response from the agency")
    DUPLICATE = "duplicate", _("same as another incident")


class Incident(models.Model):
    """One fall at one site, from the first low visit to its outcome."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    site = models.ForeignKey("surveys.Site", on_delete=models.PROTECT, related_name="incidents")
    year = models.PositiveSmallIntegerField()
    number = models.PositiveIntegerField(help_text="Counts from 1 in a group and year.")
    state = models.CharField(max_length=12, choices=IncidentState, default=IncidentState.OPEN)
    visits = models.ManyToManyField("surveys.Visit", related_name="incidents")
    opened_at = models.DateTimeField(default=timezone.now)
    send_by = models.DateTimeField(null=True, blank=True, help_text="Held alerts go out then at the latest.")
    confirmed_at = models.DateTimeField(null=True, blank=True)
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    acknowledged_by = models.CharField(max_length=200, blank=True)
    acknowledge_by = models.DateTimeField(null=True, blank=True)
    contacts_told = models.PositiveSmallIntegerField(default=0)
    link_version = models.PositiveSmallIntegerField(
        default=1, help_text="Counting it up makes all signed links of the incident invalid."
    )
    agency_reference = models.CharField(_("the agency's own reference"), max_length=80, blank=True)
    outcome = models.CharField(_("outcome"), max_length=20, choices=Outcome, blank=True)
    outcome_note = models.TextField(_("what was found"), blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-opened_at"]
        constraints = [
            models.UniqueConstraint(fields=["group", "year", "number"], name="incident_number_once"),
            models.UniqueConstraint(
                fields=["site"],
                condition=Q(state__in=["held", "open", "acknowledged"]),
                name="one_live_incident_per_site",
            ),
            models.CheckConstraint(
                condition=~Q(state="closed") | (~Q(outcome="") & Q(closed_at__isnull=False)),
                name="incident_closed_with_outcome",
            ),
        ]

    def __str__(self) -> str:
        return self.reference

    @property
    def reference(self) -> str:
        """The number people quote on the telephone."""
        return f"{self.year}-{self.number:03d}"

    @property
    def is_live(self) -> bool:
        return self.state in (IncidentState.HELD, IncidentState.OPEN, IncidentState.ACKNOWLEDGED)

    @property
    def contact_user_ids(self) -> set[UUID]:
        """Accounts of the contacts named for the site; nobody's while the group still holds the alert.

        Looked up by address at each reading, so that an account made after the contact was named counts too.
        """
        if self.state == IncidentState.HELD:
            return set()
        named = self.site.contacts.filter(contact__is_active=True)
        return accounts_at(named.values_list("contact__email", flat=True))


class EventKind(models.TextChoices):
    OPENED = "opened", _("A score fell below the trigger")
    HELD = "held", _("Alert held for the group's check")
    TOLD = "told", _("Agency contact told")
    NOBODY_NAMED = "nobody_named", _("No agency contact to tell")
    JOINED = "joined", _("A further visit is below the trigger")
    UPDATED = "updated", _("Visit corrected, still below the trigger")
    LIFTED = "lifted", _("Visit corrected, no longer below the trigger")
    CONFIRMED = "confirmed", _("Visit approved by the group")
    RETURNED = "returned", _("Visit returned to its recorder")
    WITHDRAWN = "withdrawn", _("Alert withdrawn")
    ACKNOWLEDGED = "acknowledged", _("Acknowledged")
    UNANSWERED = "unanswered", _("Not acknowledged in time")
    COORDINATORS_TOLD = "coordinators_told", _("Coordinators asked to telephone")
    UNDELIVERABLE = "undeliverable", _("A message could not be delivered")
    NOTE = "note", _("Note")
    CLOSED = "closed", _("Closed")


class IncidentEvent(models.Model):
    """One step in the course of an incident: who did what, when."""

    group_path = "incident__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    incident = models.ForeignKey(Incident, on_delete=models.CASCADE, related_name="events")
    at = models.DateTimeField(default=timezone.now)
    kind = models.CharField(max_length=30, choices=EventKind)
    actor_name = models.CharField(max_length=200, blank=True)
    actor = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    contact = models.ForeignKey(
        AgencyContact, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    visit = models.ForeignKey(
        "surveys.Visit", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    note = models.TextField(blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["at", "id"]

    def __str__(self) -> str:
        return f"{self.kind} {self.at:%Y-%m-%d %H:%M}"
