"""What the clock asks of repeat visits: offered once the river allows, reminded of on the last day, lapsed."""

from __future__ import annotations

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from alerts.models import EventKind, Incident, RepeatRequest
from alerts.models.repeats import RepeatState as State
from alerts.repeats.wanted import LIVE, live_repeat, why_not_offered
from alerts.services.clockwork import Clockwork
from alerts.services.events import add_event
from alerts.services.locks import locked_incident
from alerts.services.repeats import (
    is_time_for_the_rest,
    low_visit_of,
    offer_repeat,
    offer_to_the_rest,
    send_offers,
)
from alerts.services.telling import tell_coordinators
from portal.accounts.walls import wide, within
from portal.audit.services import record_change
from portal.outbox.models import Message

# Nobody is reminded in the middle of the night.
REMIND_FROM_HOUR = 7


@wide("the clock runs for every group")
def watch_repeats() -> int:
    """Do what is due for every repeat visit wanted or taken on; return for how many something was done.

    Trouble with one leaves the others alone; `Trouble` tells of it at the end.
    """
    clock = Clockwork()
    rows = RepeatRequest.objects.across_groups("the clock runs for every group").filter(state__in=LIVE)
    clock.each([each.incident for each in rows.select_related("incident")], _watch)
    return clock.finish()


def _watch(incident: Incident) -> bool:
    """Its incident is held meanwhile."""
    request = live_repeat(locked_incident(incident))
    if request is None:
        return False
    with within(request.group_id):
        return _watch_one(request)


def _watch_one(request: RepeatRequest) -> bool:
    today = timezone.localdate()
    if request.due_on < today:
        _lapse(request)
        return True
    if why_not_offered(request.incident.site):
        return False
    if request.state == State.OPEN and not request.offers.exists():
        return _offer_late(request)
    if request.state == State.OPEN and is_time_for_the_rest(request) and _offer_to_the_rest(request):
        return True
    is_time = request.due_on == today and timezone.localtime().hour >= REMIND_FROM_HOUR
    return is_time and _remind(request)


def _offer_late(request: RepeatRequest) -> bool:
    low = low_visit_of(request.incident)
    if low is not None:
        offer_repeat(request, low)
    return low is not None


def _offer_to_the_rest(request: RepeatRequest) -> bool:
    low = low_visit_of(request.incident)
    return low is not None and offer_to_the_rest(request, low)


def _remind(request: RepeatRequest) -> bool:
    """Remind whoever took it on, or all who were asked and have not given it back; once."""
    asked = request.offers.select_related("user", "request__incident")
    taken = request.state == State.TAKEN
    offers = list(asked.filter(user=request.taken_by_id) if taken else asked.exclude(accepted=False))
    low = low_visit_of(request.incident)
    if low is None or not offers or _is_reminded(request):
        return False
    headline = _("Today is the last day of your repeat visit") if taken else _("A repeat visit is wanted today")
    send_offers(offers, low, key="due", headline=headline)
    return True


def _is_reminded(request: RepeatRequest) -> bool:
    owed = Message.objects.of_group(request.incident.group)
    return owed.filter(key__startswith=f"repeat:{request.id}:due:").exists()


def _lapse(request: RepeatRequest) -> None:
    changes = {"state": [request.state, State.LAPSED.value]}
    request.state = State.LAPSED
    request.save(update_fields=["state"])
    record_change(actor=None, verb="repeat.lapsed", thing=request, changes=changes)
    incident = request.incident
    step = add_event(incident, EventKind.REPEAT_LAPSED, note=lambda: why_not_offered(incident.site))
    low = low_visit_of(request.incident)
    if low is not None:
        tell_coordinators(request.incident, low, step)
