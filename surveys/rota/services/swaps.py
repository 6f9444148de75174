"""Swaps: one person offers their place for another's; nothing changes until the other agrees."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.languages import speaking_to
from portal.audit.services import record_change
from surveys.errors import NotPossible
from surveys.rota.mail import ask_swap, spoken_to, tell_place, tell_swap_refused
from surveys.rota.models import Assignment, PlannedVisit, SwapOffer
from surveys.rota.services.places import (
    locked_plans,
    people_on,
    put_down,
    require_adult,
    require_fit,
    require_open,
    touch,
    void_swaps,
)

State = SwapOffer.State


@transaction.atomic
def offer_swap(*, person: Person, mine: Assignment, yours: Assignment) -> SwapOffer:
    """Offer one's own place for another one's; the other is asked by e-mail.

    Asked twice, it is one offer. Raises NotPossible where the swap would break a rule of the rota.
    """
    require(person, "rota.answer", mine)
    first, second = locked_plans([mine.planned, yours.planned])
    mine, yours = _fresh(mine, first), _fresh(yours, second)
    _require_swappable(mine, yours)
    rows = SwapOffer.objects.of_group(first.group)
    swap, is_new = rows.get_or_create(group=first.group, mine=mine, yours=yours, state=State.OPEN)
    if is_new:
        told = {"swap": [str(mine.planned), str(yours.planned)]}
        record_change(actor=person, verb="rota.swap_offered", thing=first, changes=told)
        ask_swap(swap)
    return swap


@transaction.atomic
def agree_swap(*, person: Person, swap: SwapOffer) -> SwapOffer:
    """Agree: both change places at once, under the locks of both visits. Pressed twice, the first time stands.

    Raises NotPossible where it cannot be any more.
    """
    require(person, "rota.answer", swap.yours)
    first, second = locked_plans([swap.mine.planned, swap.yours.planned])
    found = SwapOffer.objects.of_group(swap.group).select_related("group").get(pk=swap.pk)
    if found.state == State.AGREED:
        return found
    if found.state != State.OPEN:
        raise NotPossible(_("This swap is not offered any more."))
    mine, yours = _fresh(swap.mine, first), _fresh(swap.yours, second)
    _require_swappable(mine, yours)
    found.state, found.answered_at = State.AGREED, timezone.now()
    found.save()
    _exchange(mine, yours)
    _record(person, mine, yours)
    return found


@transaction.atomic
def refuse_swap(*, person: Person, swap: SwapOffer) -> SwapOffer:
    """Say no; who asked is told, and both stay where they are."""
    require(person, "rota.answer", swap.yours)
    rows = SwapOffer.objects.of_group(swap.group).select_for_update(of=("self",))
    found = rows.select_related("group", "mine__planned__site", "mine__planned__group", "mine__user").get(
        pk=swap.pk
    )
    if found.state != State.OPEN:
        return found
    found.state, found.answered_at = State.REFUSED, timezone.now()
    found.save()
    told = {"swap": [str(found.mine.planned), None]}
    record_change(actor=person, verb="rota.swap_refused", thing=found.mine.planned, changes=told)
    with spoken_to(found.mine):
        tell_swap_refused(found, _("%(name)s cannot swap.") % {"name": person.name})
    return found


def _fresh(place: Assignment, planned: PlannedVisit) -> Assignment:
    """The place as it stands now, with its locked visit."""
    found = Assignment.objects.of_group(planned.group).select_related("user").get(pk=place.pk)
    found.planned = planned
    return found


def _require_swappable(mine: Assignment, yours: Assignment) -> None:
    if mine.planned.group_id != yours.planned.group_id or mine.planned_id == yours.planned_id:
        raise NotPossible(_("Choose a visit of somebody else."), "yours")
    for place in (mine, yours):
        require_open(place.planned)
        if not place.is_live:
            raise NotPossible(_("One of you is no longer down for the visit."), "yours")
    if mine.user_id == yours.user_id:
        raise NotPossible(_("Choose a visit of somebody else."), "yours")
    for goer, target in ((mine, yours), (yours, mine)):
        people = {each.user_id for each in people_on(target.planned)}
        if goer.user_id in people:
            words = _("%(name)s is down for the other visit already.")
            raise NotPossible(words % {"name": goer.user.name}, "yours")
        require_fit(target.planned, goer.user, instead_of=goer)
        require_adult(target.planned, people - {target.user_id} | {goer.user_id})


def _exchange(mine: Assignment, yours: Assignment) -> None:
    # Both give up first: the database lets nobody be down twice a day, and looks at each row by itself.
    for place in (mine, yours):
        place.state = Assignment.State.SWAPPED
        touch(place)
        void_swaps(place)
    now = timezone.now()
    facts = {"told_at": now, "answered_at": now}
    for goer, target in ((mine, yours), (yours, mine)):
        with speaking_to(group=target.planned.group):
            why = _("Swapped with %(name)s.") % {"name": target.user.name}
        place = put_down(target.planned, goer.user, Assignment.State.ACCEPTED, why=why, **facts)
        with spoken_to(place):
            words = _("You have swapped with %(name)s. This is your visit now.") % {"name": target.user.name}
            tell_place(place, _("Swapped"), words, key="swapped", cautions=True)


def _record(person: Person, mine: Assignment, yours: Assignment) -> None:
    for gone, come in ((mine, yours), (yours, mine)):
        told = {"people": [gone.user.name, come.user.name]}
        record_change(actor=person, verb="rota.swapped", thing=gone.planned, changes=told)
