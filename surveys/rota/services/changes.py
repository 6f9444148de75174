"""A coordinator changes the rota by hand, draft or published: people, day, one visit more or fewer."""

from __future__ import annotations

from datetime import date, time

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.languages import speaking_to
from portal.accounts.models import Group, User
from portal.audit.services import record_change
from surveys.errors import NotPossible
from surveys.models import Site
from surveys.queries import due_of, with_last_visit
from surveys.rota.due import obstacle_at, window_of
from surveys.rota.mail import day_words, spoken_to, tell_off, tell_place, tell_plan
from surveys.rota.models import LIVE, Assignment, PlannedVisit
from surveys.rota.models.plans import USUAL_START
from surveys.rota.services.places import (
    locked_plan,
    people_on,
    put_down,
    require_adult,
    require_fit,
    require_free,
    require_open,
    require_place,
    touch,
    void_swaps,
)
from surveys.rota.services.proposals import FARTHEST, new_planned

State = PlannedVisit.State
DOWN = (*LIVE, Assignment.State.PROPOSED)


@transaction.atomic
def plan_visit(
    *, person: Person, group: Group, site: Site, day: date, start: time = USUAL_START
) -> PlannedVisit:
    """Put one visit more into the draft; raises NotPossible at the field that is wrong."""
    require(person, "rota.plan", group)
    _check_day(group, site, day)
    planned = new_planned(site, day, day, start, by_hand=True)
    record_change(actor=person, verb="planned_visit.added", thing=planned, changes={"day": [None, str(day)]})
    return planned


@transaction.atomic
def move_visit(*, person: Person, planned: PlannedVisit, day: date, start: time) -> PlannedVisit:
    """Move a visit to another day or hour. Once published, its people are asked again."""
    require(person, "rota.plan", planned)
    moved = locked_plan(planned)
    _require_changeable(moved)
    before = (moved.day, moved.start)
    if before == (day, start):
        return moved
    if day != moved.day:
        _check_day(moved.group, moved.site, day)
    # Before anything is changed, so that a refusal leaves the visit as it was.
    people = people_on(moved, *DOWN)
    for each in people:
        require_free(moved.group, each.user, day, but=[moved])
    window = window_of(moved.site)
    moved.day, moved.start, moved.by_hand = day, start, True
    moved.window_from, moved.window_until = day - window, day + window
    touch(moved)
    told = {"day": [str(before[0]), str(day)], "start": [f"{before[1]:%H:%M}", f"{start:%H:%M}"]}
    record_change(actor=person, verb="planned_visit.moved", thing=moved, changes=told)
    _ask_again(moved, people)
    return moved


def _ask_again(planned: PlannedVisit, people: list[Assignment]) -> None:
    # Every day first, because the database looks at each row by itself.
    for place in people:
        place.day, place.planned = planned.day, planned
        if place.is_live:
            place.state, place.answered_at, place.told_at = Assignment.State.ASKED, None, timezone.now()
            void_swaps(place)
        touch(place)
    for place in people:
        if place.is_live:
            with spoken_to(place):
                words = _("It is on %(day)s now. Please say again whether you can.")
                headline = _("A visit on the rota has moved")
                tell_place(place, headline, words % {"day": day_words(planned.day)}, key="moved")


def _check_day(group: Group, site: Site, day: date) -> None:
    if day < timezone.localdate():
        raise NotPossible(_("This day is past."), "day")
    if day > timezone.localdate() + 2 * FARTHEST:
        raise NotPossible(_("Choose a day within two years."), "day")
    rows = with_last_visit(Site.objects.of_group(group))
    due = due_of(rows.get(pk=site.pk), timezone.localdate())
    if due is None:
        raise NotPossible(_("This site is closed."), "day")
    obstacle = obstacle_at(due, day)
    if obstacle:
        raise NotPossible(_("Nobody goes there that day: %(why)s.") % {"why": obstacle}, "day")
    same = PlannedVisit.objects.of_group(group).filter(site=site, day=day).exclude(state=State.CANCELLED)
    if same.exists():
        raise NotPossible(_("A visit to this site is planned on that day already."), "day")


def _require_changeable(planned: PlannedVisit) -> None:
    if planned.is_draft:
        return
    require_open(planned)


@transaction.atomic
def add_to_visit(*, person: Person, planned: PlannedVisit, user: User) -> Assignment:
    """Put a member down. Their own days and limits are for the coordinator to ask about; training is not.

    Raises NotPossible for somebody untrained or elsewhere that day, and where only people under 18 would go.
    """
    require(person, "rota.plan", planned)
    found = locked_plan(planned)
    _require_changeable(found)
    people = people_on(found, *DOWN)
    if user.pk not in {each.user_id for each in people}:
        require_place(found, people)
    require_fit(found, user)
    require_adult(found, {user.pk, *(each.user_id for each in people)})
    state = Assignment.State.PROPOSED if found.is_draft else Assignment.State.ASKED
    with speaking_to(group=found.group):
        why = _("Put down by %(name)s.") % {"name": person.name}
    told_at = None if found.is_draft else timezone.now()
    place = put_down(found, user, state, why=why, by_hand=True, told_at=told_at, answered_at=None)
    _mark(found)
    record_change(
        actor=person, verb="planned_visit.person_added", thing=found, changes={"people": [None, user.name]}
    )
    if not found.is_draft:
        tell_plan(found.group, user, [place], key=f"added:{place.pk}:{place.sequence}")
    return place


@transaction.atomic
def take_off(*, person: Person, place: Assignment) -> None:
    """Take somebody off a visit; once published, they are told."""
    require(person, "rota.plan", place.planned)
    planned = locked_plan(place.planned)
    _require_changeable(planned)
    rows = Assignment.objects.of_group(planned.group).filter(pk=place.pk, state__in=DOWN)
    found = rows.select_related("user", "planned__site", "planned__group").first()
    # Pressed twice, or declined meanwhile: what was wanted is so already.
    if found is None:
        return
    told = {"people": [found.user.name, None]}
    record_change(actor=person, verb="planned_visit.person_removed", thing=planned, changes=told)
    _mark(planned)
    if not found.is_live:
        found.delete()
        return
    _end_place(found)
    with spoken_to(found):
        tell_off(found, _("%(name)s has taken you off this visit.") % {"name": person.name}, key="off")


def _end_place(place: Assignment) -> None:
    place.state = Assignment.State.REMOVED
    touch(place)
    void_swaps(place)


def _mark(planned: PlannedVisit) -> None:
    """What is touched by hand stays when a proposal is made anew."""
    planned.by_hand, planned.open_because = True, ""
    planned.save(update_fields=["by_hand", "open_because"])


@transaction.atomic
def call_off_visit(*, person: Person, planned: PlannedVisit, reason: str = "") -> None:
    """Call a published visit off and tell its people; a draft is simply taken out."""
    require(person, "rota.plan", planned)
    found = locked_plan(planned)
    if found.is_draft:
        record_change(actor=person, verb="planned_visit.discarded", thing=found)
        found.delete()
        return
    require_open(found)
    people = people_on(found, *DOWN)
    found.state, found.cancelled_why = State.CANCELLED, reason
    touch(found)
    record_change(actor=person, verb="planned_visit.called_off", thing=found, reason=reason)
    for place in people:
        place.planned = found
        if not place.is_live:
            place.delete()
            continue
        _end_place(place)
        with spoken_to(place):
            words = _("%(name)s has called it off. %(reason)s") % {"name": person.name, "reason": reason}
            tell_off(place, words.strip(), key="called-off")
