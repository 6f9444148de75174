"""Tags of the pages about people."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from django import template
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.models import Group, Role
from portal.audit.models import AuditEntry
from surveys.people.models import Enquiry, Training
from surveys.people.queries import LAPSE_DAYS, Lapsing, lapsing_trainings, open_enquiries

register = template.Library()
ON_DESK = 5
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


@dataclass(frozen=True)
class PeopleDesk:
    """What about people needs a coordinator."""

    enquiries: list[Enquiry]
    lapsing: list[Lapsing]

    @property
    def first_to_lapse(self) -> list[Lapsing]:
        return self.lapsing[:ON_DESK]


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


@register.simple_tag
def people_desk(group: Group) -> PeopleDesk:
    """Who waits for an answer and whose training lapses. Two queries."""
    return PeopleDesk(list(open_enquiries(group)), lapsing_trainings(group, timezone.localdate()))
