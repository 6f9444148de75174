"""The course of a repeat visit: taken on, given back, made, no longer needed.

Every step holds the incident's row, so that of two volunteers at the same moment one comes first.
"""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _later

from alerts.judging.figures import told_apart
from alerts.models import EventKind, Incident, IncidentState, RepeatRequest, Verdict
from alerts.models.repeats import RepeatState as State
from alerts.repeats.wanted import LIVE, live_repeat, why_not_offered
from alerts.services.events import add_event
from alerts.services.locks import locked_incident
from alerts.services.repeat_mail import owe_no_longer_needed
from alerts.services.repeats import low_visit_of, send_offers
from alerts.services.telling import tell_coordinators
from portal.accounts.access import Person, acting_id, require
from portal.accounts.models import Membership
from portal.accounts.prepared import planned
from portal.accounts.queries import members_of
from portal.audit.services import record_change
from scoring.indices.methods import METHODS
from surveys.models import Visit
from surveys.models.visits import Status
from surveys.texts.told import told


@transaction.atomic
def take_repeat(*, person: Person, incident: Incident) -> RepeatRequest:
    """Take the repeat visit on; who comes first has it. Asked twice by the same person, it stays theirs.

    Raises ValidationError when somebody else has it, it is not wanted any more, or nobody should go now.
    """
    require(person, "visit.submit", incident)
    request = live_repeat(locked_incident(incident))
    if request is None:
        raise ValidationError(_("This repeat visit is not wanted any more."))
    if request.state == State.TAKEN and request.taken_by_id == person.user_id:
        return request
    if request.state == State.TAKEN:
        raise ValidationError(_("Somebody else has taken it on already. Thank you all the same."))
    if why_not := why_not_offered(incident.site):
        raise ValidationError(why_not)
    request.taken_by_id, request.taken_at = person.user_id, timezone.now()
    _move(request, State.TAKEN, person)
    _answer(request, person, accepted=True)
    add_event(request.incident, EventKind.REPEAT_TAKEN, person=person)
    return request


@transaction.atomic
def give_back_repeat(*, person: Person, incident: Incident) -> RepeatRequest:
    """Give it back, by whoever took it on or a coordinator; all others are asked again.

    Raises ValidationError where the person has nothing to give back.
    """
    require(person, "visit.submit", incident)
    request = live_repeat(locked_incident(incident))
    if request is None or request.state != State.TAKEN:
        raise ValidationError(_("Nobody has taken this repeat visit on."))
    if request.taken_by_id != person.user_id and not person.is_coordinator(incident.group_id):
        raise ValidationError(_("Somebody else has taken this repeat visit on."))
    _open_again(request, person, lambda: _("Given back."))
    return request


def free_repeats_of(membership: Membership) -> None:
    """What somebody who has left the group had taken on is wanted of the others again.

    Belongs into the transaction in which they leave.
    """
    own = RepeatRequest.objects.of_group(membership.group).filter(
        state=State.TAKEN, taken_by=membership.user_id
    )
    for each in own.select_related("incident").order_by("incident_id"):
        request = live_repeat(locked_incident(each.incident))
        if request is not None and request.taken_by_id == membership.user_id:
            _open_again(request, None, lambda: _("Whoever had taken it on has left the group."))


def _open_again(request: RepeatRequest, person: Person | None, why: Callable[[], str]) -> None:
    """Nobody has it any more; all other members who were asked are asked again."""
    incident, giver = request.incident, request.taken_by_id
    request.offers.filter(user=giver).update(accepted=False, answered_at=timezone.now())
    request.taken_by, request.taken_at = None, None
    _move(request, State.OPEN, person)
    step = add_event(incident, EventKind.REPEAT_ASKED, person=person, note=why)
    low = low_visit_of(incident)
    if low is not None and not why_not_offered(incident.site):
        present = members_of(incident.group).exclude(user=giver).values("user")
        others = request.offers.filter(user__in=present).select_related("user", "request__incident")
        send_offers(others, low, key=step.id.hex, headline=_later("A repeat visit is wanted again"))


def _answer(request: RepeatRequest, person: Person, *, accepted: bool) -> None:
    request.offers.update_or_create(
        user_id=acting_id(person), defaults={"accepted": accepted, "answered_at": timezone.now()}
    )


def _move(request: RepeatRequest, state: State, person: Person | None) -> None:
    changes = {"state": [request.state, state.value]}
    request.state = state
    request.save(update_fields=["state", "taken_by", "taken_at", "visit"])
    record_change(actor=person, verb=f"repeat.{state.value}", thing=request, changes=changes)


def follow_repeats(*, visit: Visit, verdict: Verdict, person: Person | None) -> None:
    """See what a judged visit means for the repeat visits wanted at its site.

    Belongs after all that the verdict does to incidents. Repeats of incidents that it ended are cancelled; the
    visit itself may be the one that was waited for, also when it is entered after the last day.
    """
    for request in _waited_for(visit.group_id, visit.site_id):
        incident = locked_incident(request.incident)
        if not incident.is_live:
            cancel_repeats(incident)
        elif is_repeat(visit, request):
            _make(request.pk, visit, verdict, person)
            return


@planned
def _waited_for(group: UUID, site: UUID) -> QuerySet[RepeatRequest]:
    rows = RepeatRequest.objects.filter(group=group, incident__site=site)
    return rows.filter(state__in=(*LIVE, State.LAPSED)).select_related("incident")


def is_repeat(visit: Visit, request: RepeatRequest) -> bool:
    """Whether this visit is one that the request asked for: made after it and by its last day.

    On the very day only a start that was written down tells before from after.
    """
    asked = timezone.localtime(request.asked_at)
    if not visit.was_made or visit.submitted_at < request.asked_at or visit.visited_on > request.due_on:
        return False
    if visit.visited_on == asked.date():
        return visit.started_at is not None and visit.started_at > asked.time()
    return visit.visited_on > asked.date()


def _make(number: UUID, visit: Visit, verdict: Verdict, person: Person | None) -> None:
    request = (
        RepeatRequest.objects.filter(group=visit.group_id).select_related("incident", "taken_by").get(pk=number)
    )
    incident = locked_incident(request.incident)
    if verdict.outcome == Verdict.Outcome.NOT_TESTED:
        _note_untested(incident, visit)
        return
    request.visit = visit
    _move(request, State.DONE, person)
    step = add_event(
        incident,
        EventKind.REPEAT_MADE,
        person=person,
        visit=visit,
        note=lambda: made_words(incident, visit, verdict),
    )
    low = low_visit_of(incident)
    if verdict.outcome == Verdict.Outcome.NOT_BELOW and low is not None:
        tell_coordinators(incident, low, step)
    if request.taken_by and request.taken_by_id not in visit.involved_user_ids:
        owe_no_longer_needed(request, request.taken_by, reason=_later("Somebody else has made it."))


def _note_untested(incident: Incident, visit: Visit) -> None:
    if incident.events.filter(kind=EventKind.NOTE, visit=visit, actor=None).exists():
        return
    add_event(incident, EventKind.NOTE, visit=visit, note=_untested_words)


def _untested_words() -> str:
    return _(
        "It could not be held against the trigger, so it says nothing of the fall; a repeat is still wanted."
    )


def made_words(incident: Incident, visit: Visit, verdict: Verdict) -> str:
    """What the repeat visit says, and what should follow."""
    assert verdict.trigger is not None
    assert verdict.value is not None
    method = METHODS[verdict.trigger.index]
    score, trigger, _between = told_apart(verdict.value, verdict.trigger.level, method)
    figures = {
        "day": date_format(visit.visited_on, "j F Y"),
        "index": told(method.name),
        "score": score,
        "trigger": trigger,
    }
    if verdict.outcome == Verdict.Outcome.BELOW:
        words = _(
            "On %(day)s: %(index)s %(score)s, below the trigger of %(trigger)s again. It confirms the fall."
        )
        return words % figures
    parts = [
        _(
            "On %(day)s: %(index)s %(score)s, not below the trigger of %(trigger)s. It does not confirm "
            "the fall."
        )
        % figures,
        _("A coordinator can close the incident as not confirmed, by one click on its page."),
    ]
    if visit.status != Status.APPROVED:
        parts.append(_("The repeat visit has not been checked yet."))
    if incident.state in (IncidentState.ACKNOWLEDGED, IncidentState.INVESTIGATED):
        parts.append(_("The agency is at work on it: speak with them first."))
    return " ".join(parts)


def cancel_repeats(incident: Incident, person: Person | None = None) -> None:
    """Nobody need go any more, because the incident is over; whoever took it on is told."""
    live = RepeatRequest.objects.filter(group=incident.group_id, incident=incident, state__in=LIVE)
    for request in live.select_related("incident__site", "incident__group", "taken_by"):
        _move(request, State.CANCELLED, person)
        if request.taken_by:
            owe_no_longer_needed(request, request.taken_by, reason=_later("The incident is over."))
