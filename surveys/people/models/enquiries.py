"""Somebody who asks to have a go, from the first word to joining, or to being forgotten."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known


class EnquiryState(models.TextChoices):
    UNCONFIRMED = "unconfirmed", _("address not yet confirmed")
    ASKED = "asked", _("asked, waits for an answer")
    ANSWERED = "answered", _("answered")
    INVITED = "invited", _("invited to a first visit")
    CAME = "came", _("came along")
    JOINED = "joined", _("joined")
    NOT_NOW = "not_now", _("not now")


OPEN_STATES = (EnquiryState.ASKED, EnquiryState.ANSWERED, EnquiryState.INVITED, EnquiryState.CAME)


class Enquiry(models.Model):
    """What one person asked and how it went on. Contact data goes when they join or nothing comes of it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    state = models.CharField(max_length=12, choices=EnquiryState)
    name = models.CharField(_("name"), max_length=120, blank=True)
    email = models.EmailField(_("e-mail address"), max_length=254, blank=True)
    phone = models.CharField(_("telephone"), max_length=40, blank=True)
    language = models.CharField(
        _("language"), max_length=10, blank=True, help_text="The one they asked in. Blank: the group's."
    )
    wish = models.TextField(_("what they would like"), blank=True)
    is_minor = models.BooleanField(_("under 18"), default=False)
    guardian_name = models.CharField(_("guardian's name"), max_length=120, blank=True)
    guardian_phone = models.CharField(_("guardian's telephone"), max_length=40, blank=True)
    guardian_email = models.EmailField(_("guardian's e-mail address"), max_length=254, blank=True)
    minor_until = models.DateField(_("under 18 until"), null=True, blank=True)
    taken_by = models.ForeignKey(
        "accounts.User",
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        help_text="The member who wrote it down at the bank; empty when it came by the public page.",
    )
    agreed_at = models.DateTimeField(help_text="When they agreed to be kept.")
    asked_at = models.DateTimeField(auto_now_add=True)
    changed_at = models.DateTimeField(help_text="The last step; erasing counts from here.")
    first_visit_on = models.DateField(_("first visit on"), null=True, blank=True)
    first_site = models.ForeignKey(
        "surveys.Site", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    supervisor = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    invitation = models.OneToOneField(
        "accounts.Invitation", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    membership = models.ForeignKey(
        "accounts.Membership", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["asked_at"]
        indexes = [
            models.Index(fields=["group", "state", "asked_at"], name="enquiry_by_state"),
            models.Index(fields=["state", "changed_at"], name="enquiry_to_erase"),
        ]
        constraints = [
            known("enquiry_state_known", state=EnquiryState.values),
            models.CheckConstraint(
                condition=models.Q(state="joined") | ~models.Q(email="", phone=""),
                name="enquiry_can_be_answered",
            ),
            models.CheckConstraint(
                condition=models.Q(state="joined")
                | models.Q(is_minor=False)
                | (~models.Q(guardian_name="") & ~models.Q(guardian_phone="", guardian_email="")),
                name="enquiry_minor_with_guardian",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="invited") | models.Q(first_visit_on__isnull=False),
                name="enquiry_invited_to_a_day",
            ),
        ]

    def __str__(self) -> str:
        # No name: what is written of an enquiry elsewhere outlives it.
        return f"enquiry {self.id}"

    @property
    def is_open(self) -> bool:
        """Whether somebody still waits for something."""
        return self.state in OPEN_STATES


class EnquiryAttempt(models.Model):
    """One sending of the public form, so that nobody floods it; kept for a day, the sender only as a digest."""

    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    sender = models.CharField(max_length=64)
    at = models.DateTimeField(auto_now_add=True)

    objects = GroupOwnedManager()

    class Meta:
        indexes = [models.Index(fields=["group", "at"], name="enquiry_attempt_newest")]

    def __str__(self) -> str:
        return f"{self.sender[:8]} {self.at}"
