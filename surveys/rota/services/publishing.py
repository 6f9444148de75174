"""Publishing a draft: from then on people are down for visits, are told, and answer."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.accounts.queries import members_of
from portal.accounts.walls import wide
from portal.audit.services import record_change
from surveys.errors import NotPossible
from surveys.rota.mail import tell_plan
from surveys.rota.models import LIVE, Assignment, PlannedVisit
from surveys.rota.services.places import locked_plans, only_minors, touch

State = PlannedVisit.State


@transaction.atomic
def publish_rota(*, person: Person, group: Group) -> int:
    """Publish all drafts and tell everybody who is down; return how many visits are new or have new people.

    Raises NotPossible where there is nothing to publish, a day is past, or only people under 18 would go.
    Somebody who left, or whom another group was quicker to ask for that day, is left off; the place is open.
    """
    require(person, "rota.plan", group)
    concerned = locked_plans(_concerned(group))
    if not concerned:
        raise NotPossible(_("There is nothing to publish. Make a proposal first."))
    places = _proposed(group)
    _require_publishable(concerned, places)
    _publish_visits(person, concerned)
    told = _publish_places(group, places)
    # A time in the key, because each publication is a letter of its own.
    now = timezone.now()
    for user_id, own in told.items():
        tell_plan(group, own[0].user, own, key=f"published:{now:%Y%m%d%H%M%S%f}:{user_id.hex[:8]}")
    return len(concerned)


def _concerned(group: Group) -> list[PlannedVisit]:
    rows = PlannedVisit.objects.of_group(group)
    drafts = rows.filter(state=State.DRAFT)
    proposed = Assignment.objects.of_group(group).filter(state=Assignment.State.PROPOSED)
    filled = rows.filter(state=State.PUBLISHED, pk__in=proposed.values("planned"))
    return [*drafts, *filled]


def _proposed(group: Group) -> list[Assignment]:
    rows = Assignment.objects.of_group(group).filter(state=Assignment.State.PROPOSED)
    return list(rows.select_related("planned__site", "planned__group", "user").order_by("day"))


def _require_publishable(plans: Iterable[PlannedVisit], places: Iterable[Assignment]) -> None:
    people: dict[UUID, set[UUID]] = defaultdict(set)
    for place in places:
        people[place.planned_id].add(place.user_id)
    for planned in plans:
        words = {"site": planned.site, "day": date_format(planned.day, "j F")}
        if planned.is_draft and not planned.is_coming():
            raise NotPossible(_("%(site)s, %(day)s, is past. Move it or take it out.") % words)
        down = people[planned.pk] | {each.user_id for each in planned.assignments.all() if each.is_live}
        if only_minors(planned.group, planned.day, down):
            raise NotPossible(_("%(site)s, %(day)s: only people under 18 are down for it.") % words)


def _publish_visits(person: Person, plans: Iterable[PlannedVisit]) -> None:
    now = timezone.now()
    for planned in plans:
        if planned.is_draft:
            planned.state, planned.published_at, planned.by_hand = State.PUBLISHED, now, False
            touch(planned)
            record_change(
                actor=person,
                verb="planned_visit.published",
                thing=planned,
                changes={"day": [None, str(planned.day)]},
            )


def _publish_places(group: Group, places: Iterable[Assignment]) -> dict[UUID, list[Assignment]]:
    """The people to tell, with their new places; who cannot be asked after all is left off."""
    members = set(members_of(group).values_list("user_id", flat=True))
    told: dict[UUID, list[Assignment]] = defaultdict(list)
    for place in places:
        if place.user_id not in members or _goes_elsewhere(place):
            # Never told of it, so nothing is owed to them and no calendar shows it.
            place.delete()
            continue
        place.state, place.told_at, place.by_hand = Assignment.State.ASKED, timezone.now(), False
        touch(place)
        told[place.user_id].append(place)
    return told


@wide("nobody goes to two places on one day, whoever asked them")
def _goes_elsewhere(place: Assignment) -> bool:
    rows = Assignment.objects.across_groups("nobody goes to two places on one day, whoever asked them")
    return rows.filter(user=place.user_id, day=place.day, state__in=LIVE).exclude(pk=place.pk).exists()


@transaction.atomic
def discard_drafts(*, person: Person, group: Group) -> int:
    """Throw the whole draft away; return how many visits it had. What is published stays."""
    require(person, "rota.plan", group)
    drafts = list(PlannedVisit.objects.of_group(group).filter(state=State.DRAFT))
    Assignment.objects.of_group(group).filter(state=Assignment.State.PROPOSED).delete()
    for planned in drafts:
        record_change(actor=person, verb="planned_visit.discarded", thing=planned)
        planned.delete()
    return len(drafts)
