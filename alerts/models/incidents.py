"""Incidents: one fall at one site, and each step of its course."""

from __future__ import annotations

import uuid
from uuid import UUID

from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from alerts.models.contacts import AgencyContact
from portal.accounts.addresses import accounts_at
from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known, or_blank


class IncidentState(models.TextChoices):
    HELD = "held", _("held for the group's check")
    OPEN = "open", _("open")
    ACKNOWLEDGED = "acknowledged", _("acknowledged")
    INVESTIGATED = "investigated", _("being investigated")
    WITHDRAWN = "withdrawn", _("withdrawn")
    CLOSED = "closed", _("closed")


# Not over yet.
LIVE_STATES = (
    IncidentState.HELD,
    IncidentState.OPEN,
    IncidentState.ACKNOWLEDGED,
    IncidentState.INVESTIGATED,
)


class Outcome(models.TextChoices):
    SOURCE_STOPPED = "source_stopped", _("source found and stopped")
    SOURCE_SUSPECTED = "source_suspected", _("source suspected")
    NATURAL = "natural", _("natural cause")
    METHOD_ERROR = "method_error", _("sampling or counting error")
    NOT_CONFIRMED = "not_confirmed", _("not confirmed by a repeat visit")
    NO_RESPONSE = "no_response", _("no response from the agency")
    DUPLICATE = "duplicate", _("same as another incident")


class GroupOutcome(models.Model):
    """A group's own words for how an incident ended; `counts_as` is what reports add it up under."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    label = models.CharField(_("outcome"), max_length=120)
    counts_as = models.CharField(_("counts as"), max_length=20, choices=Outcome)
    is_active = models.BooleanField(_("can be chosen"), default=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["label"]
        constraints = [
            models.UniqueConstraint(fields=["group", "label"], name="outcome_label_once"),
            known("outcome_counts_as_known", counts_as=Outcome.values),
        ]

    def __str__(self) -> str:
        return self.label


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
    remind_at = models.DateTimeField(null=True, blank=True)
    investigated_at = models.DateTimeField(null=True, blank=True)
    acknowledge_by = models.DateTimeField(null=True, blank=True)
    contacts_told = models.PositiveSmallIntegerField(default=0)
    link_version = models.PositiveSmallIntegerField(
        default=1, help_text="Counting it up makes all signed links of the incident invalid."
    )
    agency_reference = models.CharField(_("the agency's own reference"), max_length=80, blank=True)
    outcome = models.CharField(_("outcome"), max_length=20, choices=Outcome, blank=True)
    own_outcome = models.ForeignKey(
        GroupOutcome, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    outcome_note = models.TextField(_("what was found"), blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-opened_at"]
        constraints = [
            models.UniqueConstraint(fields=["group", "year", "number"], name="incident_number_once"),
            models.UniqueConstraint(
                fields=["site"],
                condition=Q(state__in=["held", "open", "acknowledged", "investigated"]),
                name="one_live_incident_per_site",
            ),
            models.CheckConstraint(
                condition=~Q(state="closed") | (~Q(outcome="") & Q(closed_at__isnull=False)),
                name="incident_closed_with_outcome",
            ),
            known("incident_words_known", state=IncidentState.values, outcome=or_blank(Outcome.values)),
        ]

    # Read for one answer, in which nobody becomes or ceases to be a contact.
    is_of_page = False

    def __str__(self) -> str:
        return self.reference

    @property
    def reference(self) -> str:
        """The number people quote on the telephone."""
        return f"{self.year}-{self.number:03d}"

    @property
    def outcome_words(self) -> str:
        """How it ended, in the group's own words where it has some."""
        return self.own_outcome.label if self.own_outcome else self.get_outcome_display()

    @property
    def is_live(self) -> bool:
        return self.state in LIVE_STATES

    @property
    def is_unanswered(self) -> bool:
        """Whether the alert is out and nobody is left, or was ever named, to be told of it."""
        return self.state == IncidentState.OPEN and self.acknowledge_by is None

    @property
    def contact_user_ids(self) -> set[UUID]:
        """Accounts of the contacts named for the site; nobody's while the group still holds the alert.

        Looked up by address, so that an account made after the contact was named counts too: at each reading,
        or once for a page.
        """
        return self._known_contacts if self.is_of_page else self._find_contacts()

    @cached_property
    def _known_contacts(self) -> set[UUID]:
        return self._find_contacts()

    def _find_contacts(self) -> set[UUID]:
        if self.state == IncidentState.HELD:
            return set()
        named = self.site.contacts.filter(contact__is_active=True).order_by()
        return accounts_at(named.values(address=Lower("contact__email")))


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
    REMINDED = "reminded", _("Contact reminded")
    INVESTIGATED = "investigated", _("Being investigated")
    FORWARDED = "forwarded", _("Passed on to a colleague")
    QUIET = "quiet", _("Not sent: the site is quiet for maintenance")
    REPEAT_ASKED = "repeat_asked", _("Repeat visit asked for")
    REPEAT_TAKEN = "repeat_taken", _("Repeat visit taken on")
    REPEAT_MADE = "repeat_made", _("Repeat visit made")
    REPEAT_LAPSED = "repeat_lapsed", _("No repeat visit in time")
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
    sequence = models.PositiveIntegerField(null=True, help_text="Place in the incident's chain, from 1.")
    facts = models.JSONField(default=dict, help_text="What stood on record at this step, as it was hashed.")
    seal = models.CharField(
        max_length=64, blank=True, help_text="SHA-256 over the seal before, this step and its facts."
    )
    erased = models.JSONField(
        default=dict, db_default={}, editable=False, help_text="actor or note, taken out, to its digest."
    )

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["incident", "sequence"], name="one_place_in_the_chain"),
            known("incident_event_known", kind=EventKind.values),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.at:%Y-%m-%d %H:%M}"


class Forward(models.Model):
    """An alert passed on to a colleague by a contact: with a link of its own, seen by everybody concerned."""

    group_path = "incident__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    incident = models.ForeignKey(Incident, on_delete=models.CASCADE, related_name="forwards")
    contact = models.ForeignKey(AgencyContact, on_delete=models.PROTECT, related_name="+")
    to_name = models.CharField(_("name"), max_length=120)
    to_email = models.EmailField(_("e-mail address"))
    at = models.DateTimeField(default=timezone.now)
    first_opened_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["at"]
        constraints = [
            models.UniqueConstraint(fields=["incident", "to_email"], name="forwarded_once_an_address")
        ]

    def __str__(self) -> str:
        return f"to {self.to_email}"
