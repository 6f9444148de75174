"""Sending a rehearsal, and the page behind its link."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from alerts.models import AgencyContact, Drill
from alerts.services.drills import acknowledge_drill, read_token, readiness_of, send_drill
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, go_on
from portal.accounts.signed_links import by_link, token_of

by_drill = by_link(read_token, "alerts/alert_gone.html")


@login_required
@require_safe
def drill_list(request: PortalRequest, slug: str) -> HttpResponse:
    """Who has answered a rehearsal, and who should have one."""
    group = enter(request, slug, "contact.manage")
    sent = Drill.objects.of_group(group).select_related("contact", "sent_by")[:50]
    context = {"group": group, "readiness": readiness_of(group), "drills": sent}
    return render(request, "alerts/drill_list.html", context)


@login_required
@require_POST
def drill_send(request: PortalRequest, slug: str, contact_id: UUID) -> HttpResponse:
    """Send one contact a rehearsal."""
    group = enter(request, slug, "contact.manage")
    contact = get_object_or_404(AgencyContact.objects.of_group(group).select_related("group"), id=contact_id)
    try:
        send_drill(person=request.person, contact=contact)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    else:
        messages.success(request, _("The rehearsal for %(name)s is on its way.") % {"name": contact.name})
    return go_on(request, group, "drill_list", slug=slug)


@require_safe
@never_cache
@by_drill
def drill_page(request: HttpRequest, drill: Drill) -> HttpResponse:
    """What the contact sees behind the link; reading changes nothing."""
    return render(request, "alerts/drill_page.html", {"drill": drill, "token": token_of(request)})


@require_POST
@never_cache
@by_drill
def drill_acknowledge(request: HttpRequest, drill: Drill) -> HttpResponse:
    """The contact has read it."""
    acknowledge_drill(drill=drill)
    return redirect("drill_page", token=token_of(request))
