"""Tags of the pages about people."""

from __future__ import annotations

from datetime import timedelta

from django import template
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.models import Role
from portal.audit.models import AuditEntry
from surveys.people.models import Training
from surveys.people.queries import LAPSE_DAYS

register = template.Library()
STEPS: dict[str, Promise] = {
    "membership.joined": _("joined"),
    "membership.came_back": _("came back"),
    "membership.ended": _("membership ended"),
    "membership.role": _("role changed"),
    "membership.naming": _("choice about being named"),
    "membership.guardian": _("flagged as under 18, guardian's contact kept"),
    "membership.guardian_cleared": _("flag of being under 18 taken away"),
    "membership.emergency_contact": _("emergency contact kept"),
    "membership.emergency_contact_erased": _("emergency contact erased"),
    "membership.hours_added": _("hours added"),
    "membership.hours_removed": _("hours taken back"),
}


@register.filter
def training_state(training: Training) -> str:
    """Which badge a training wears today: withdrawn, lasting, lapsed, soon or valid."""
    today = timezone.localdate()
    if training.withdrawn_at:
        return "withdrawn"
    if training.valid_until is None:
        return "lasting"
    if training.valid_until < today:
        return "lapsed"
    return "soon" if training.valid_until <= today + timedelta(days=LAPSE_DAYS) else "valid"


@register.filter
def step_words(entry: AuditEntry) -> str:
    """What an entry of a membership's trail says, with the roles of before and after."""
    words = str(STEPS.get(entry.verb, entry.verb))
    role = entry.changes.get("role")
    return f"{words}: {Role(role[1]).label}" if role and role[1] in Role.values else words
