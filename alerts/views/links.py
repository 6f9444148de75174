"""Pages behind a signed link, for contacts without an account. Reading changes nothing; only the buttons do."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from alerts.contacts.links import Link, read_token
from alerts.forms import ForwardForm, InvestigateForm, OutcomeForm
from alerts.models import GroupOutcome
from alerts.queries import who_to_call
from alerts.services.forwards import forward_alert, note_opened
from alerts.services.incidents import acknowledge_incident, add_note, close_incident, investigate_incident
from alerts.views.shared import incident_context, photo_answer, try_service
from portal.accounts.signed_links import by_link, token_of

by_alert = by_link(read_token, "alerts/alert_gone.html")


@require_safe
@never_cache
@by_alert
def alert_page(request: HttpRequest, link: Link) -> HttpResponse:
    """The alert with its evidence, the button to acknowledge and the form for the outcome."""
    if link.forward and request.method == "GET":
        note_opened(link.forward)
    return _show(request, link)


def _show(request: HttpRequest, link: Link, status: int = 200, **forms: Any) -> HttpResponse:
    token = token_of(request)
    shown = incident_context(
        link.incident,
        person=None,
        photo_url=lambda photo: reverse("alert_photo", args=[token, photo.pk]),
    )
    evidence = shown["evidence"]
    context = {
        **shown,
        "token": token,
        "contact": link.contact,
        "link": link,
        "caller": evidence.caller if evidence else who_to_call(link.incident.group),
        "outcome_form": OutcomeForm(**_about(link)),
        "investigate_form": InvestigateForm(prefix="investigate"),
        "forward_form": ForwardForm(prefix="forward"),
    }
    return render(request, "alerts/alert_page.html", context | forms, status=status)


@require_POST
@never_cache
@by_alert
def alert_acknowledge(request: HttpRequest, link: Link) -> HttpResponse:
    """Acknowledge; pressed twice, the first time stands."""
    try:
        acknowledge_incident(incident=link.incident, contact=link.contact, forward=link.forward)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    else:
        messages.success(request, _("Thank you: the group sees that you know."))
    return _back(request)


@require_POST
@never_cache
@by_alert
def alert_outcome(request: HttpRequest, link: Link) -> HttpResponse:
    """Write down what was found; with an outcome the incident ends."""
    form = OutcomeForm(request.POST, **_about(link))
    if form.is_valid() and try_service(form, lambda: _write(link, **form.cleaned_data)):
        messages.success(request, _("Thank you: it is written down."))
        return _back(request)
    return _show(request, link, 422, outcome_form=form)


def _about(link: Link) -> dict[str, Any]:
    # Ending the incident stays with the contact whom the group has named.
    return {"group": link.incident.group, "may_close": link.forward is None}


def _write(link: Link, *, own_outcome: GroupOutcome | None, outcome: str = "", **told: str) -> None:
    given: dict[str, Any] = {"incident": link.incident, "contact": link.contact, **told}
    if outcome and link.forward is None:
        close_incident(outcome=outcome, own_outcome=own_outcome, **given)
    else:
        add_note(forward=link.forward, **given)


@require_POST
@never_cache
@by_alert
def alert_investigate(request: HttpRequest, link: Link) -> HttpResponse:
    """Note that the agency is looking into it; pressed twice, the first time stands."""
    form = InvestigateForm(request.POST, prefix="investigate")
    given: dict[str, Any] = {"incident": link.incident, "contact": link.contact, "forward": link.forward}
    if form.is_valid() and try_service(form, lambda: investigate_incident(**given, **form.cleaned_data)):
        messages.success(request, _("Thank you: the group sees that you are looking into it."))
        return _back(request)
    return _show(request, link, 422, investigate_form=form)


@require_POST
@never_cache
@by_alert
def alert_forward(request: HttpRequest, link: Link) -> HttpResponse:
    """Pass the alert on to a colleague; only the contact may, not whoever has it passed on."""
    form = ForwardForm(request.POST, prefix="forward")
    if form.is_valid() and try_service(form, lambda: _pass_on(link, **form.cleaned_data)):
        messages.success(request, _("The alert is passed on."))
        return _back(request)
    return _show(request, link, 422, forward_form=form)


def _pass_on(link: Link, *, to_name: str, to_email: str) -> None:
    if link.forward is not None:
        raise ValidationError(_("Only the contact named by the group can pass the alert on."))
    forward_alert(incident=link.incident, contact=link.contact, to_name=to_name, to_email=to_email)


def _back(request: HttpRequest) -> HttpResponse:
    return redirect("alert_page", token=token_of(request))


@require_safe
@by_alert
def alert_photo(_request: HttpRequest, link: Link, photo_id: UUID) -> HttpResponseBase:
    """A picture from one of the incident's visits."""
    return photo_answer(link.incident, photo_id)
