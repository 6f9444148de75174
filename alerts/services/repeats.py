"""Asking for a repeat visit after a low score, and offering it to the group's volunteers."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _later

from alerts.contacts.working_time import policy_of
from alerts.models import EventKind, Incident, RepeatOffer, RepeatRequest
from alerts.queries import quiet_now
from alerts.repeats.wanted import live_repeat, why_not_offered
from alerts.services.events import add_event
from alerts.services.locks import locked_incident
from alerts.services.repeat_mail import owe_offer
from portal.accounts.access import Person, require
from portal.accounts.models import User
from portal.accounts.queries import members_of
from portal.audit.services import record_change
from surveys.models import Visit
from surveys.people.queries import minor_user_ids
from surveys.rota.queries import people_free

# Long enough for somebody with a job to read it; two days of the usual three are left for the others.
FIRST_ASKED_ALONE = timedelta(hours=24)


def ask_for_repeat(*, incident: Incident, visit: Visit, person: Person | None = None) -> RepeatRequest | None:
    """Ask for a repeat of a low visit and offer it to those who can go.

    Belongs inside the transaction that opens the incident. None where the group wants no repeats (0 days) and
    while the site is quiet. While nobody should go there it is asked for and not offered; the course says why.
    """
    days = policy_of(incident.group).repeat_days
    if not days or quiet_now(incident.site):
        return None
    due = timezone.localdate() + timedelta(days=days)
    request = RepeatRequest.objects.create(group=incident.group, incident=incident, due_on=due)
    record_change(actor=person, verb="repeat.asked", thing=request, changes={"due_on": [None, str(due)]})
    step = add_event(
        incident, EventKind.REPEAT_ASKED, person=person, note=lambda: why_not_offered(incident.site)
    )
    if not step.note:
        offer_repeat(request, visit)
    return request


@transaction.atomic
def ask_again(*, person: Person, incident: Incident) -> RepeatRequest:
    """A coordinator asks for a repeat visit by hand.

    Raises ValidationError when the incident is over, when one is wanted already, and while none is asked for.
    """
    require(person, "repeat.ask", incident)
    incident = locked_incident(incident)
    low = low_visit_of(incident)
    if not incident.is_live or low is None:
        raise ValidationError(_("This incident is over: no repeat visit is needed."))
    if live_repeat(incident):
        raise ValidationError(_("A repeat visit is wanted already."))
    request = ask_for_repeat(incident=incident, visit=low, person=person)
    if request is None:
        raise ValidationError(
            _("The site is quiet for maintenance, or the group's alert policy asks for no repeat visits.")
        )
    return request


def low_visit_of(incident: Incident) -> Visit | None:
    """The last low visit, which is the one to repeat; None once all were corrected."""
    found = incident.visits.select_related("site", "group", "verdict__trigger")
    return found.order_by("visited_on", "submitted_at").last()


def offer_repeat(request: RepeatRequest, low: Visit) -> None:
    """Offer the visit to those who can go within its days; to every member where nobody has said so.

    The others are asked later, by `offer_to_the_rest`.
    """
    _offer(request, low, _who_can(request) or _members(request))


def offer_to_the_rest(request: RepeatRequest, low: Visit) -> bool:
    """Offer the visit to every other member too; whether there was anybody left to ask."""
    asked = set(request.offers.values_list("user_id", flat=True))
    rest = [each for each in _members(request) if each.pk not in asked]
    _offer(request, low, rest)
    return bool(rest)


def is_time_for_the_rest(request: RepeatRequest) -> bool:
    """Whether those asked first had their day, somebody gave it back, or the last day has come."""
    first = request.offers.order_by("offered_at").values_list("offered_at", flat=True).first()
    waited = first is not None and first <= timezone.now() - FIRST_ASKED_ALONE
    return waited or request.due_on <= timezone.localdate() or request.offers.filter(accepted=False).exists()


def _members(request: RepeatRequest) -> list[User]:
    return [each.user for each in members_of(request.incident.group)]


def _who_can(request: RepeatRequest) -> list[User]:
    """Who said that they can; nobody where they are all under 18, because one of them would go alone."""
    today, group = timezone.localdate(), request.incident.group
    free = people_free(group, today, max(today, request.due_on))
    minors = minor_user_ids(group, today)
    return free if any(each.pk not in minors for each in free) else []


def _offer(request: RepeatRequest, low: Visit, people: Iterable[User]) -> None:
    offers = RepeatOffer.objects.bulk_create(RepeatOffer(request=request, user=user) for user in people)
    send_offers(offers, low, key="offer", headline=_later("A repeat visit is wanted"))


def send_offers(offers: Iterable[RepeatOffer], low: Visit, *, key: str, headline: Promise) -> None:
    """Owe one round of offers; `headline` is put into words in each reader's language."""
    for each in offers:
        owe_offer(each, low, key=key, headline=headline)
