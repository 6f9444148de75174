"""The group's own outcomes: listed, added, retired."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from alerts.forms import OwnOutcomeForm
from alerts.models import GroupOutcome
from alerts.services.outcomes import add_outcome, offer_outcome
from alerts.views.shared import try_service
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, posted


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def outcome_list(request: PortalRequest, slug: str) -> HttpResponse:
    """All outcomes in the group's own words, and the form for another."""
    group = enter(request, slug, "group.edit")
    form = OwnOutcomeForm(posted(request))
    if form.is_valid() and try_service(
        form, lambda: add_outcome(person=request.person, group=group, **form.cleaned_data)
    ):
        messages.success(request, _("The outcome is added."))
        return redirect("outcome_list", slug=slug)
    context = {"group": group, "form": form, "outcomes": GroupOutcome.objects.of_group(group)}
    return render(request, "alerts/outcome_list.html", context, status=422 if form.errors else 200)


@login_required
@require_POST
def outcome_change(request: PortalRequest, slug: str, outcome_id: UUID) -> HttpResponse:
    """Retire an outcome, or offer it again (field `offer`)."""
    group = enter(request, slug, "group.edit")
    outcome = get_object_or_404(GroupOutcome.objects.of_group(group), id=outcome_id)
    offer_outcome(person=request.person, outcome=outcome, is_active=bool(request.POST.get("offer")))
    messages.success(request, _("The list of outcomes is changed."))
    return redirect("outcome_list", slug=slug)
