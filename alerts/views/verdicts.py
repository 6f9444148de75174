"""Testing a visit against the trigger all the same."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.forms import ReasonForm
from alerts.judging.verdicts import reason_words
from alerts.models import Verdict
from alerts.services.verdicts import can_test_anyway, test_visit_anyway
from alerts.views.shared import try_service
from portal.accounts.access import require
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, posted
from surveys.models import Visit


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def visit_test_anyway(request: PortalRequest, slug: str, visit_id: UUID) -> HttpResponse:
    """Ask for the reason, then test."""
    group = enter(request, slug, "group.view")
    visit = get_object_or_404(Visit.objects.of_group(group).select_related("site__group", "group"), id=visit_id)
    require(request.person, "visit.test_anyway", visit)
    form = ReasonForm(posted(request))
    if form.is_valid() and try_service(
        form, lambda: test_visit_anyway(person=request.person, visit=visit, **form.cleaned_data)
    ):
        messages.success(request, _("The visit is tested against the trigger."))
        return redirect("visit_detail", slug=slug, visit_id=visit.pk)
    verdict = get_object_or_404(Verdict.objects.of_group(group), visit=visit)
    context = {
        "visit": visit,
        "form": form,
        "reasons": reason_words(verdict.reasons),
        "can_test": can_test_anyway(verdict),
    }
    return render(request, "alerts/visit_test_anyway.html", context, status=422 if form.errors else 200)
