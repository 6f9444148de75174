"""The evidence pack of an incident, for whoever may read its page."""

from __future__ import annotations

from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from alerts.contacts.links import Link
from alerts.evidence.pack import make_pack, pack_name
from alerts.models import Incident
from alerts.views.links import by_alert
from alerts.views.shared import find_incident
from portal.accounts.access import Person
from portal.accounts.middleware import PortalRequest
from portal.audit.services import record_taken


@login_required
@require_safe
@never_cache
def incident_evidence(request: PortalRequest, incident_id: UUID) -> HttpResponse:
    """The pack for a member of the group or a contact with an account."""
    return _answer(request, find_incident(request, incident_id, "incident.view"), request.person)


@require_safe
@never_cache
@by_alert
def alert_evidence(request: HttpRequest, link: Link) -> HttpResponse:
    """The pack behind a signed link."""
    return _answer(request, link.incident, None, by=link.reader)


def _answer(request: HttpRequest, incident: Incident, person: Person | None, by: str = "") -> HttpResponse:
    record_taken(request, incident, pack_name(incident), by=by)
    answer = HttpResponse(make_pack(incident, person), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{pack_name(incident)}"'
    return answer
