"""Triggers, and what a visit meant against them."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.accounts.scoping import GroupOwnedManager
from portal.choices import known


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


class VerdictOutcome(models.TextChoices):
    BELOW = "below", _("below the trigger")
    NOT_BELOW = "not_below", _("not below the trigger")
    NOT_TESTED = "not_tested", _("not tested against the trigger")


class Verdict(models.Model):
    """What a visit meant against the site's trigger: below, not below, or not tested and why."""

    Outcome = VerdictOutcome

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    group = models.ForeignKey("accounts.Group", on_delete=models.CASCADE, related_name="+")
    visit = models.OneToOneField("surveys.Visit", on_delete=models.CASCADE, related_name="verdict")
    outcome = models.CharField(max_length=12, choices=Outcome)
    trigger = models.ForeignKey(Trigger, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    value = models.FloatField(null=True, blank=True)
    reasons = models.JSONField(
        default=list, help_text="Codes of alerts.judging.verdicts.REASONS: why it was not tested."
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
            ),
            known("verdict_outcome_known", outcome=VerdictOutcome.values),
        ]

    def __str__(self) -> str:
        return self.get_outcome_display()
