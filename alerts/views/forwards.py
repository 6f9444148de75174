"""Passing an alert on by account, and taking a colleague's link back."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from alerts.forms import ForwardForm
from alerts.models import Forward
from alerts.queries import contact_of_person
from alerts.services.forwards import forward_alert, revoke_forward
from alerts.views.incidents import show_incident
from alerts.views.shared import find_incident, try_service
from portal.accounts.middleware import PortalRequest


@login_required
@require_POST
def incident_forward(request: PortalRequest, incident_id: UUID) -> HttpResponse:
    """Pass the alert on to a colleague, as the contact one is."""
    incident = find_incident(request, incident_id, "incident.forward")
    contact = contact_of_person(incident.site, request.person)
    form = ForwardForm(request.POST, prefix="forward")
    if form.is_valid() and try_service(
        form,
        lambda: forward_alert(incident=incident, contact=contact, person=request.person, **form.cleaned_data),
    ):
        messages.success(request, _("The alert is passed on."))
        return redirect("incident_detail", incident_id=incident.pk)
    return show_incident(request, incident, 422, forward_form=form)


@login_required
@require_POST
def forward_revoke(request: PortalRequest, incident_id: UUID, forward_id: UUID) -> HttpResponse:
    """Take one colleague's link back."""
    incident = find_incident(request, incident_id, "contact.manage")
    rows = Forward.objects.of_group(incident.group).select_related("incident__group", "incident__site")
    forward = get_object_or_404(rows, id=forward_id, incident=incident)
    revoke_forward(person=request.person, forward=forward)
    messages.success(request, _("The link of %(name)s no longer works.") % {"name": forward.to_name})
    return redirect("incident_detail", incident_id=incident.pk)
