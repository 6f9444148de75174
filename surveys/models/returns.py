"""Safe returns: a timed check-in, whom it tells when nobody ends it, and its whole course."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from uuid import UUID

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known, or_blank


class Step(models.IntegerChoices):
    """How far a safe return that nobody ended has gone."""

    NONE = 0, _("nobody told")
    REMINDED = 1, _("the pair reminded")
    AGAIN = 2, _("the pair reminded again")
    COORDINATORS = 3, _("the coordinators told")
    NAMED = 4, _("the named person told")


class Ending(models.TextChoices):
    BACK = "back", _("back")
    KNOWN_SAFE = "known_safe", _("known to be safe")


class SafeReturn(models.Model):
    """One outing that says when it will be back. Times of the steps are those of the group on that day."""

    id = models.UUIDField(
        primary_key=True, default=uuid.uuid4, help_text="Made by the form: sent twice, it is one."
    )
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    site = models.ForeignKey("surveys.Site", on_delete=models.PROTECT, related_name="+")
    started_by = models.ForeignKey("accounts.User", on_delete=models.PROTECT, related_name="+")
    partner = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    partner_name = models.CharField(max_length=120, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    car = models.CharField(max_length=200, blank=True)
    named_user = models.ForeignKey(
        "accounts.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    named_name = models.CharField(max_length=120)
    named_email = models.EmailField(max_length=254)
    started_at = models.DateTimeField()
    expected_at = models.DateTimeField()
    # Counts the extensions, so that each new time has reminders of its own.
    round = models.PositiveSmallIntegerField(default=0)
    step = models.PositiveSmallIntegerField(choices=Step, default=Step.NONE)
    again_minutes = models.PositiveSmallIntegerField()
    coordinators_minutes = models.PositiveSmallIntegerField()
    named_minutes = models.PositiveSmallIntegerField()
    next_step_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_how = models.CharField(max_length=12, choices=Ending, blank=True)
    ended_by_name = models.CharField(max_length=160, blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["-started_at"]
        indexes = [
            models.Index(
                fields=["next_step_at"], name="safe_return_watched", condition=models.Q(ended_at__isnull=True)
            )
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ended_at__isnull=True, ended_how="")
                | (models.Q(ended_at__isnull=False) & ~models.Q(ended_how="")),
                name="safe_return_ended_somehow",
            ),
            models.CheckConstraint(
                condition=models.Q(expected_at__gt=models.F("started_at")), name="safe_return_ends_later"
            ),
            models.CheckConstraint(
                condition=~models.Q(partner=models.F("started_by"))
                & ~models.Q(named_user=models.F("started_by"))
                & ~models.Q(named_user=models.F("partner")),
                name="safe_return_three_people",
            ),
            known("safe_return_words_known", step=Step.values, ended_how=or_blank(Ending.values)),
        ]

    def __str__(self) -> str:
        return f"{self.site_id} {self.expected_at}"

    @property
    def is_live(self) -> bool:
        """Whether it is still watched."""
        return self.ended_at is None

    @property
    def is_overdue(self) -> bool:
        """Whether its time is up and nobody has ended it."""
        return self.is_live and self.expected_at <= timezone.now()

    @property
    def pair_ids(self) -> set[UUID]:
        """The accounts of those who went."""
        return {each for each in (self.started_by_id, self.partner_id) if each}

    @property
    def involved_user_ids(self) -> set[UUID]:
        """Everybody with an account whom it concerns: the pair, and a named person who has one."""
        return self.pair_ids | ({self.named_user_id} if self.named_user_id else set())

    @property
    def partner_shown(self) -> str:
        """The partner's name, whether or not they have an account."""
        return self.partner.name if self.partner else self.partner_name

    def due_at(self, step: int) -> datetime:
        """When a step is due if nobody ends the return before."""
        minutes = {
            Step.REMINDED: 0,
            Step.AGAIN: self.again_minutes,
            Step.COORDINATORS: self.coordinators_minutes,
            Step.NAMED: self.named_minutes,
        }
        return self.expected_at + timedelta(minutes=minutes[Step(step)])


class ReturnEventKind(models.TextChoices):
    STARTED = "started", _("started")
    EXTENDED = "extended", _("more time taken")
    REMINDED = "reminded", _("pair reminded")
    AGAIN = "again", _("pair reminded again")
    COORDINATORS = "coordinators", _("coordinators told")
    NAMED = "named", _("named person told")
    UNDELIVERABLE = "undeliverable", _("a message could not be delivered")
    BACK = "back", _("back")
    KNOWN_SAFE = "known_safe", _("said to be safe")


class ReturnEvent(models.Model):
    """One step of the course of a safe return."""

    group_path = "safe_return__group"

    safe_return = models.ForeignKey(SafeReturn, on_delete=models.CASCADE, related_name="events")
    at = models.DateTimeField()
    kind = models.CharField(max_length=16, choices=ReturnEventKind)
    actor_name = models.CharField(max_length=160, blank=True)
    note = models.TextField(blank=True)

    objects = GroupOwnedManager()

    class Meta:
        ordering = ["at", "pk"]
        constraints = [known("return_event_known", kind=ReturnEventKind.values)]

    def __str__(self) -> str:
        return f"{self.safe_return_id} {self.kind}"


class ReturnNotice(models.Model):
    """Somebody was told: the row behind the signed link in their e-mail, once for each step and address."""

    group_path = "safe_return__group"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    safe_return = models.ForeignKey(SafeReturn, on_delete=models.CASCADE, related_name="notices")
    round = models.PositiveSmallIntegerField()
    step = models.PositiveSmallIntegerField(choices=Step)
    name = models.CharField(max_length=160)
    email = models.EmailField(max_length=254)
    is_of_pair = models.BooleanField()
    told_at = models.DateTimeField()

    objects = GroupOwnedManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["safe_return", "round", "step", "email"], name="return_notice_once_a_step"
            ),
            known("return_notice_step_known", step=Step.values),
        ]

    def __str__(self) -> str:
        return f"{self.email} {self.step}"
