"""Yearly reports: made by a task, looked at, then published under a lasting address."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known, or_blank


class PeopleShown(models.TextChoices):
    """Whether somebody can be recognised in it; nothing said: it is shown to nobody."""

    NOBODY = "nobody", _("Nobody can be recognised in it.")
    AGREED = (
        "agreed",
        _("People can be recognised in it, and each agreed; for those under 18 a parent or guardian did."),
    )


class GroupPicture(models.Model):
    """A picture for the cover of a group's reports, encoded anew; one that a report stands on stays."""

    People = PeopleShown

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    people = models.CharField(
        _("people in the picture"), max_length=8, choices=People, blank=True, default="", db_default=""
    )
    file = models.ImageField(upload_to="covers/%Y/")
    alt = models.CharField(_("what it shows"), max_length=250)
    credit = models.CharField(_("who took it"), max_length=120, blank=True)
    added_by = models.ForeignKey("accounts.User", null=True, on_delete=models.SET_NULL, related_name="+")
    added_at = models.DateTimeField(auto_now_add=True)
    replaced_at = models.DateTimeField(null=True, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["group"], condition=models.Q(replaced_at=None), name="one_picture_of_a_group"
            ),
            models.CheckConstraint(condition=~models.Q(alt=""), name="picture_says_what_it_shows"),
            known("picture_people_known", people=or_blank(PeopleShown.values)),
        ]

    def __str__(self) -> str:
        return self.alt


class ReportState(models.TextChoices):
    QUEUED = "queued", _("waiting to be made")
    RUNNING = "running", _("being made")
    READY = "ready", _("draft, ready to read")
    FAILED = "failed", _("could not be made")
    PUBLISHED = "published", _("published")


class YearlyReport(models.Model):
    """One edition of a group's report on a year."""

    State = ReportState

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    year = models.PositiveSmallIntegerField()
    edition = models.PositiveSmallIntegerField(default=1)
    state = models.CharField(max_length=10, choices=State, default=State.QUEUED)
    job = models.ForeignKey(
        "jobs.Job", null=True, blank=True, on_delete=models.SET_NULL, related_name="+", help_text="Makes it."
    )
    problem = models.TextField(blank=True)
    foreword = models.TextField(_("foreword"), blank=True)
    captions = models.JSONField(
        default=dict, blank=True, help_text="Section to the coordinator's words for it."
    )
    left_out = models.JSONField(default=list, blank=True, help_text="Sections that the group leaves out.")
    correction = models.TextField(_("what was corrected"), blank=True)
    picture = models.ForeignKey(
        "reports.GroupPicture", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    identifier = models.CharField(max_length=120, blank=True, help_text="Given when it is published.")
    digest = models.CharField(max_length=64, blank=True, help_text="SHA-256 of the frozen figures.")
    data = models.JSONField(default=dict, help_text="The figures the document stands on, frozen with it.")
    file = models.FileField(upload_to="reports/%Y/", blank=True)
    made_by = models.ForeignKey("accounts.User", null=True, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-year", "-edition"]
        constraints = [
            models.UniqueConstraint(fields=["group", "year", "edition"], name="report_edition_once"),
            models.UniqueConstraint(
                fields=["identifier"], condition=~models.Q(identifier=""), name="report_identifier_once"
            ),
            known("report_state_known", state=ReportState.values),
        ]

    def __str__(self) -> str:
        return f"{self.year}, edition {self.edition}"

    @property
    def is_being_made(self) -> bool:
        return self.state in (self.State.QUEUED, self.State.RUNNING)

    @property
    def is_published(self) -> bool:
        return self.state == self.State.PUBLISHED
