"""Places of people who have left the group since: opened again, and others are asked."""

from __future__ import annotations

import logging
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.languages import speaking_to
from portal.accounts.models import Membership, Role
from portal.accounts.walls import wide, within
from portal.audit.services import record_change
from surveys.rota.mail import tell_coordinators_uncovered
from surveys.rota.models import LIVE, Assignment, PlannedVisit
from surveys.rota.services.answers import ask_everybody, tell_the_others
from surveys.rota.services.places import locked_plan, touch, void_swaps

logger = logging.getLogger(__name__)


@wide("the clock runs for every group")
def release_places_of_leavers() -> int:
    """Take those who left off their visits to come; return how many places that opens.

    Trouble with one leaves the others alone; RuntimeError tells of it at the end, the next sweep tries again.

    Accounts live a floor below and know no rota, so that a sweep looks instead of being told.
    """
    numbers = list(_places_of_leavers().values_list("pk", flat=True))
    released, failed = 0, 0
    for number in numbers:
        try:
            released += _release(number)
        except Exception:
            logger.exception("The place %s of somebody who left could not be opened.", number)
            failed += 1
    if failed:
        raise RuntimeError(f"{failed} places of people who left could not be opened.")
    return released


def _places_of_leavers() -> Any:
    rows = Assignment.objects.across_groups("the clock runs for every group")
    rows = rows.filter(
        state__in=LIVE, day__gte=timezone.localdate(), planned__state=PlannedVisit.State.PUBLISHED
    )
    present = Membership.objects.filter(group=OuterRef("planned__group"), user=OuterRef("user"), left_at=None)
    gone = ~Exists(present.exclude(role=Role.REVIEWER)) | Q(user__is_active=False)
    return rows.filter(gone).select_related("user", "planned__site", "planned__group")


@transaction.atomic
def _release(number: UUID) -> bool:
    place = _places_of_leavers().filter(pk=number).first()
    if place is None:
        return False
    with within(place.group_id):
        _take_off(place)
    return True


def _take_off(place: Assignment) -> None:
    planned = locked_plan(place.planned)
    place.state = Assignment.State.REMOVED
    touch(place)
    void_swaps(place)
    with speaking_to(group=planned.group):
        planned.open_because = _("%(name)s has left the group.") % {"name": place.user.name}
    touch(planned)
    told = {"people": [place.user.name, None]}
    record_change(actor=None, verb="planned_visit.person_left", thing=planned, changes=told)
    if not ask_everybody(planned):
        tell_coordinators_uncovered(planned, place.user.name)
    tell_the_others(planned, place)
