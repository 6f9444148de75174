"""What a coordinator of the demo finds on a Sunday evening, beside the visits to check."""

from __future__ import annotations

from datetime import timedelta
from functools import partial

from django.utils import timezone

from alerts.models import AgencyContact
from alerts.services.drills import acknowledge_drill, send_drill
from alerts.services.quiet import begin_quiet
from portal.accounts.models import Role
from portal.accounts.services import invite_person
from portal.demo.replay import Replay
from portal.demo.settling import Settlement
from portal.embedded.inbox import NO_MAILBOXES
from surveys.services.permissions import renew_permission

# The first contact answered a rehearsal so long ago that it is time for another; the others lately.
REHEARSED_DAYS_AGO = (230, 40)
ENDS_IN = timedelta(days=26)
QUIET_FOR = timedelta(days=6)


def plan_rehearsals(settlement: Settlement, replay: Replay) -> None:
    """Have each contact answer a rehearsal in the course of the years."""
    for contact, days in zip(settlement.contacts, REHEARSED_DAYS_AGO, strict=False):
        replay.plan(replay.until - timedelta(days=days), partial(_rehearse, settlement, contact))


def _rehearse(settlement: Settlement, contact: AgencyContact) -> None:
    acknowledge_drill(drill=send_drill(person=settlement.coordinators[0], contact=contact))


def leave_the_desk_full(settlement: Settlement) -> None:
    """A permission that ends soon, works that keep a site quiet, an invitation whose address was mistyped."""
    person, today = settlement.coordinators[0], timezone.localdate()
    first, *_others = settlement.plan.sites
    renew_permission(person=person, site=settlement.sites[first.code], permission_until=today + ENDS_IN)
    quiet = settlement.sites[settlement.plan.sites[2].code]
    begin_quiet(
        person=person,
        site=quiet,
        ends_at=timezone.now() + QUIET_FOR,
        reason="The footbridge is being mended: the water is clouded until the works end.",
    )
    invite_person(person=person, group=settlement.group, email=f"basil@{NO_MAILBOXES}", role=Role.VOLUNTEER)
