"""The course of an enquiry; it goes with the enquiry."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known
from surveys.people.models.enquiries import Enquiry


class StepKind(models.TextChoices):
    ASKED = "asked", _("asked on the public page")
    ASKED_AGAIN = "asked_again", _("asked again")
    CONFIRMED = "confirmed", _("confirmed the address")
    WRITTEN_DOWN = "written_down", _("written down by a member")
    ANSWERED = "answered", _("answered")
    INVITED = "invited", _("invited to a first visit")
    CAME = "came", _("came along")
    OFFERED = "offered", _("invited to join")
    NOT_NOW = "not_now", _("not now")


class EnquiryStep(models.Model):
    """One step, with what was written."""

    group_path = "enquiry__group"

    enquiry = models.ForeignKey(Enquiry, on_delete=models.CASCADE, related_name="steps")
    at = models.DateTimeField(auto_now_add=True)
    kind = models.CharField(max_length=14, choices=StepKind)
    actor_name = models.CharField(max_length=160, blank=True)
    text = models.TextField(blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [known("enquiry_step_known", kind=StepKind.values)]

    def __str__(self) -> str:
        return f"{self.kind} {self.at}"
