"""Incidents: listed, read with all their evidence, acknowledged, noted, closed."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import FileResponse, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from alerts.forms import CloseForm, ForwardForm, InvestigateForm, NoteForm
from alerts.models import LIVE_STATES, Incident
from alerts.queries import incidents_for_contact, incidents_of
from alerts.services.incidents import (
    acknowledge_incident,
    add_note,
    close_incident,
    investigate_incident,
    renew_links,
)
from alerts.views.shared import find_incident, incident_context, photo_answer, try_service
from portal.accounts.access import allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, go_on
from portal.accounts.walls import wide
from portal.outbox.queries import messages_about

PAGE_SIZE = 25


@login_required
@require_safe
def incident_list(request: PortalRequest, slug: str) -> HttpResponse:
    """The group's incidents: those going on first, then the others page by page."""
    group = enter(request, slug, "group.view")
    over = Paginator(incidents_of(group).exclude(state__in=LIVE_STATES), PAGE_SIZE)
    context = {
        "group": group,
        "may_edit": allowed(request.person, "group.edit", group),
        "live": incidents_of(group).filter(state__in=LIVE_STATES),
        "page": over.get_page(request.GET.get("page")),
    }
    return render(request, "alerts/incident_list.html", context)


@login_required
@require_safe
def contact_incidents(request: PortalRequest) -> HttpResponse:
    """For an agency contact with an account: the incidents at the sites that name them."""
    with wide("a contact belongs to no group; the incidents are those of their sites"):
        page = Paginator(incidents_for_contact(request.person), PAGE_SIZE).get_page(request.GET.get("page"))
        page.object_list = list(page)
    return render(request, "alerts/contact_incidents.html", {"page": page})


@login_required
@require_safe
def incident_detail(request: PortalRequest, incident_id: UUID) -> HttpResponse:
    """An incident with its whole course and evidence."""
    return show_incident(request, find_incident(request, incident_id, "incident.view"))


def show_incident(request: PortalRequest, incident: Incident, status: int = 200, **forms: Any) -> HttpResponse:
    """The page, with a form that was sent and needs mending in place of its empty one."""
    person = request.person
    may_see_mail = allowed(person, "outbox.view", incident.group)
    context = {
        **incident_context(
            incident,
            person=person,
            photo_url=lambda photo: reverse("incident_photo", args=[incident.pk, photo.pk]),
        ),
        "may_act": allowed(person, "incident.note", incident),
        "may_renew_links": allowed(person, "contact.manage", incident.group),
        "mails": messages_about(incident, incident.group) if may_see_mail else [],
        "may_see_mail": may_see_mail,
        "may_forward": allowed(person, "incident.forward", incident),
        "note_form": NoteForm(prefix="note"),
        "close_form": CloseForm(prefix="close", group=incident.group),
        "investigate_form": InvestigateForm(prefix="investigate"),
        "forward_form": ForwardForm(prefix="forward"),
    }
    return render(request, "alerts/incident_detail.html", context | forms, status=status)


@login_required
@require_POST
def incident_acknowledge(request: PortalRequest, incident_id: UUID) -> HttpResponse:
    """Note that the agency knows."""
    incident = find_incident(request, incident_id, "incident.acknowledge")
    try:
        acknowledge_incident(incident=incident, person=request.person)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    else:
        messages.success(request, _("The alert is acknowledged."))
    return go_on(request, incident.group, "incident_detail", incident_id=incident.pk)


@login_required
@require_POST
def incident_investigate(request: PortalRequest, incident_id: UUID) -> HttpResponse:
    """Note that the agency is looking into it."""
    incident = find_incident(request, incident_id, "incident.acknowledge")
    form = InvestigateForm(request.POST, prefix="investigate")
    if form.is_valid() and try_service(
        form, lambda: investigate_incident(incident=incident, person=request.person, **form.cleaned_data)
    ):
        messages.success(request, _("It is noted that the agency is looking into it."))
        return go_on(request, incident.group, "incident_detail", incident_id=incident.pk)
    return show_incident(request, incident, 422, investigate_form=form)


@login_required
@require_POST
def incident_note(request: PortalRequest, incident_id: UUID) -> HttpResponse:
    """Add a note or the agency's reference."""
    incident = find_incident(request, incident_id, "incident.note")
    form = NoteForm(request.POST, prefix="note")
    if form.is_valid() and try_service(
        form, lambda: add_note(incident=incident, person=request.person, **form.cleaned_data)
    ):
        messages.success(request, _("The note is added."))
        return go_on(request, incident.group, "incident_detail", incident_id=incident.pk)
    return show_incident(request, incident, 422, note_form=form)


@login_required
@require_POST
def incident_close(request: PortalRequest, incident_id: UUID) -> HttpResponse:
    """End an incident with its outcome."""
    incident = find_incident(request, incident_id, "incident.close")
    form = CloseForm(request.POST, prefix="close", group=incident.group)
    if form.is_valid() and try_service(
        form, lambda: close_incident(incident=incident, person=request.person, **form.cleaned_data)
    ):
        messages.success(request, _("The incident is closed."))
        return redirect("incident_detail", incident_id=incident.pk)
    return show_incident(request, incident, 422, close_form=form)


@login_required
@require_POST
def incident_renew_links(request: PortalRequest, incident_id: UUID) -> HttpResponse:
    """Make the links sent so far invalid."""
    incident = find_incident(request, incident_id, "contact.manage")
    renew_links(person=request.person, incident=incident)
    messages.success(request, _("Links sent before no longer work."))
    return redirect("incident_detail", incident_id=incident.pk)


@login_required
@require_safe
def incident_photo(request: PortalRequest, incident_id: UUID, photo_id: UUID) -> FileResponse:
    """A picture from one of the incident's visits, for contacts with an account too."""
    return photo_answer(find_incident(request, incident_id, "incident.view"), photo_id)
