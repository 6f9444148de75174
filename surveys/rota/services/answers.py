"""People answer for their places: yes, or I cannot, which opens the place for cover."""

from __future__ import annotations

from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.languages import speaking_to
from portal.accounts.queries import members_of
from portal.audit.services import record_change
from surveys.errors import NotPossible
from surveys.rota.mail import ask_cover, spoken_to, tell_coordinators_uncovered, tell_place
from surveys.rota.models import Assignment, CoverOffer, PlannedVisit
from surveys.rota.queries import fits_of
from surveys.rota.services.places import (
    locked_plan,
    only_minors,
    people_on,
    put_down,
    require_adult,
    require_fit,
    require_open,
    touch,
    void_swaps,
)

State = Assignment.State


@transaction.atomic
def accept_place(*, person: Person, place: Assignment) -> Assignment:
    """Say yes; pressed twice, it stays."""
    require(person, "rota.answer", place)
    found = _locked_place(place)
    if found.state != State.ACCEPTED:
        found.state, found.answered_at = State.ACCEPTED, timezone.now()
        touch(found)
        _record(person, found, "rota.accepted")
    return found


@transaction.atomic
def decline_place(*, person: Person, place: Assignment) -> Assignment:
    """Say that one cannot: the place is open, and whoever can is asked at once.

    Where nobody can be asked, the coordinators are told. Pressed twice, the first time stands.
    """
    require(person, "rota.answer", place)
    # The visit is locked and not the place: whoever steps in or swaps meets this answer there.
    planned = locked_plan(place.planned)
    fresh = Assignment.objects.of_group(planned.group).select_related("user", "planned__group").get(pk=place.pk)
    if fresh.state == State.DECLINED:
        return fresh
    found = _locked_place(place)
    found.state, found.answered_at = State.DECLINED, timezone.now()
    touch(found)
    void_swaps(found)
    _record(person, found, "rota.declined")
    with speaking_to(group=planned.group):
        planned.open_because = _("%(name)s cannot go.") % {"name": person.name}
    touch(planned)
    if not ask_everybody(planned):
        tell_coordinators_uncovered(planned, person.name)
    tell_the_others(planned, found)
    return found


def tell_the_others(planned: PlannedVisit, gone: Assignment) -> None:
    """Whoever is still down hears that a place beside them is open."""
    key = f"opened:{gone.pk}:{gone.sequence}"
    for each in people_on(planned):
        each.planned = planned
        with spoken_to(each):
            words = _(
                "%(name)s cannot go, and others are asked. Nobody goes alone: if nobody is found, leave it."
            )
            tell_place(each, _("A place beside you is open"), words % {"name": gone.user.name}, key=key)


def _locked_place(place: Assignment) -> Assignment:
    planned = locked_plan(place.planned)
    require_open(planned)
    rows = Assignment.objects.of_group(planned.group).select_related("user", "planned__site", "planned__group")
    found = rows.get(pk=place.pk)
    if not found.is_live:
        raise NotPossible(_("You are no longer down for this visit."))
    return found


def _record(person: Person, place: Assignment, verb: str) -> None:
    told = {"people": [None, place.user.name]}
    record_change(actor=person, verb=verb, thing=place.planned, changes=told)


@transaction.atomic
def ask_for_cover(*, person: Person, planned: PlannedVisit) -> int:
    """A coordinator has everybody asked who can take the open places; return how many were.

    Raises NotPossible where no place is open or nobody can be asked.
    """
    require(person, "rota.plan", planned)
    found = locked_plan(planned)
    require_open(found)
    if len(people_on(found)) >= found.people_needed:
        raise NotPossible(_("No place is open."))
    asked = ask_everybody(found)
    if not asked:
        raise NotPossible(_("Nobody who said that they can that day is free. Ask somebody yourself."))
    record_change(actor=person, verb="rota.cover_asked", thing=found, changes={"asked": [None, asked]})
    return asked


def ask_everybody(planned: PlannedVisit) -> int:
    """Ask all who can, and by whom the visit would not be one of people under 18 alone."""
    down = {each.user_id for each in people_on(planned)}
    # Whether an adult is among those still down, for then a minor may join them.
    has_adult = bool(down) and not only_minors(planned.group, planned.day, down)
    free = [each for each, hindrance in fits_of(planned) if not hindrance]
    wanted = {each.user_id for each in free if has_adult or not each.is_minor}
    for member in members_of(planned.group).filter(user__in=wanted):
        ask_cover(_offer(planned, member.user_id))
    return len(wanted)


def _offer(planned: PlannedVisit, user_id: UUID) -> CoverOffer:
    rows = CoverOffer.objects.across_groups("the visit names its group")
    offer, is_new = rows.get_or_create(planned=planned, user_id=user_id)
    if not is_new:
        offer.asked, offer.asked_at, offer.taken_at = offer.asked + 1, timezone.now(), None
        offer.save()
    return rows.select_related("planned__site", "planned__group", "user").get(pk=offer.pk)


@transaction.atomic
def take_cover(*, person: Person, offer: CoverOffer) -> Assignment:
    """Take an open place one was asked for; who comes first has it, and pressed twice it stays theirs.

    Raises NotPossible when somebody else was quicker, and where the person goes elsewhere that day by now.
    """
    require(person, "rota.answer", offer)
    planned = locked_plan(offer.planned)
    require_open(planned)
    people = people_on(planned)
    own = next((each for each in people if each.user_id == person.user_id), None)
    if own:
        return own
    if len(people) >= planned.people_needed:
        raise NotPossible(_("Somebody else was quicker: the place is taken. Thank you all the same."))
    require_fit(planned, offer.user)
    require_adult(planned, {offer.user_id, *(each.user_id for each in people)})
    now = timezone.now()
    with speaking_to(group=planned.group):
        why = _("Stepped in.")
    place = put_down(planned, offer.user, State.ACCEPTED, why=why, told_at=now, answered_at=now)
    offer.taken_at = now
    offer.save(update_fields=["taken_at"])
    _record(person, place, "rota.cover_taken")
    for each in people:
        each.planned = planned
        with spoken_to(each):
            words = _("%(name)s has stepped in and goes with you.") % {"name": person.name}
            tell_place(each, _("Somebody has stepped in"), words, key=f"covered:{place.pk}:{place.sequence}")
    return place
