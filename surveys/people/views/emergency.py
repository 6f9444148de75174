"""Whom to ring for those who are out."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from portal.accounts.access import require
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from surveys.errors import NotPossible
from surveys.models import SafeReturn
from surveys.outings.rules import rules_of
from surveys.people.services.emergency import look_at_contacts


@login_required
@require_POST
@never_cache
def emergency_look(request: PortalRequest, slug: str, return_id: UUID) -> HttpResponse:
    """Show the contacts; a press and no link, because each look is written down and told."""
    group = enter(request, slug, "group.view")
    rows = SafeReturn.objects.of_group(group).select_related("group", "site", "started_by", "partner")
    found = get_object_or_404(rows, id=return_id)
    require(request.person, "emergency.look", found)
    try:
        to_ring = look_at_contacts(person=request.person, safe_return=found)
    except NotPossible as reason:
        messages.error(request, reason.message)
        return redirect("safe_return_detail", slug=slug, return_id=return_id)
    context = {"safe_return": found, "to_ring": to_ring, "rules": rules_of(group)}
    return render(request, "people/emergency_look.html", context)
