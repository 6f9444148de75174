"""Repeat visits: taken on and given back, by account or by the signed link in the offer."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from alerts.models import RepeatOffer
from alerts.queries import who_to_call
from alerts.repeats.links import read_offer
from alerts.repeats.wanted import repeat_shown
from alerts.repeats.words import cautions
from alerts.services.repeat_course import give_back_repeat, take_repeat
from alerts.services.repeats import ask_again, low_visit_of
from alerts.views.shared import find_incident
from portal.accounts.middleware import PortalRequest
from portal.accounts.queries import person_of
from portal.accounts.signed_links import by_link, token_of

by_offer = by_link(read_offer, "alerts/alert_gone.html")


@require_safe
@never_cache
@by_offer
def repeat_link(request: HttpRequest, offer: RepeatOffer) -> HttpResponse:
    """What is wanted by when, with the cautions and the button. Reading changes nothing."""
    incident = offer.request.incident
    context = {
        "offer": offer,
        "incident": incident,
        "site": incident.site,
        "repeat": repeat_shown(incident, person_of(offer.user), low_visit_of(incident)),
        "cautions": cautions(),
        "caller": who_to_call(incident.group),
        "token": token_of(request),
    }
    return render(request, "alerts/repeat_link.html", context)


@require_POST
@never_cache
@by_offer
def repeat_link_take(request: HttpRequest, offer: RepeatOffer) -> HttpResponse:
    """Take it on."""
    _try(
        request,
        lambda: take_repeat(person=person_of(offer.user), incident=offer.request.incident),
        _("Thank you: the repeat visit is yours."),
    )
    return redirect("repeat_link", token=token_of(request))


@require_POST
@never_cache
@by_offer
def repeat_link_give_back(request: HttpRequest, offer: RepeatOffer) -> HttpResponse:
    """Give it back."""
    _try(
        request,
        lambda: give_back_repeat(person=person_of(offer.user), incident=offer.request.incident),
        _("It is given back, and the others are asked."),
    )
    return redirect("repeat_link", token=token_of(request))


@login_required
@require_POST
def repeat_take(request: PortalRequest, incident_id: UUID) -> HttpResponse:
    """Take it on from the page of the incident."""
    incident = find_incident(request, incident_id, "visit.submit")
    _try(
        request,
        lambda: take_repeat(person=request.person, incident=incident),
        _("Thank you: the repeat visit is yours."),
    )
    return redirect("incident_detail", incident_id=incident.pk)


@login_required
@require_POST
def repeat_give_back(request: PortalRequest, incident_id: UUID) -> HttpResponse:
    """Give it back, for oneself or as a coordinator."""
    incident = find_incident(request, incident_id, "visit.submit")
    _try(
        request,
        lambda: give_back_repeat(person=request.person, incident=incident),
        _("It is given back, and the others are asked."),
    )
    return redirect("incident_detail", incident_id=incident.pk)


@login_required
@require_POST
def repeat_ask(request: PortalRequest, incident_id: UUID) -> HttpResponse:
    """Ask for a repeat visit by hand."""
    incident = find_incident(request, incident_id, "repeat.ask")
    _try(
        request,
        lambda: ask_again(person=request.person, incident=incident),
        _("A repeat visit is asked for."),
    )
    return redirect("incident_detail", incident_id=incident.pk)


def _try(request: HttpRequest, step: Callable[[], object], thanks: str) -> None:
    """Take the step and say that it is done, or why not."""
    try:
        step()
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    else:
        messages.success(request, thanks)
