"""Having a group's visits scored anew: what needs it, how far it is, stopped."""

from __future__ import annotations

from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, posted
from surveys.models import RescoreRun
from surveys.rescoring import visits_to_rescore
from surveys.services.errors import NotPossible
from surveys.services.rescoring import request_rescoring, stop_rescoring

RUNS_SHOWN = 20


class RescoreForm(forms.Form):
    """Why visits are scored anew."""

    reason = forms.CharField(
        label=gettext_lazy("Why"),
        max_length=500,
        widget=forms.Textarea(attrs={"rows": "2"}),
        help_text=gettext_lazy("For instance: new version of the method. It stays in the group's records."),
    )


def _run(request: PortalRequest, slug: str, run_id: UUID) -> RescoreRun:
    group = enter(request, slug, "visit.rescore")
    rows = RescoreRun.objects.of_group(group).select_related("group", "started_by")
    return get_object_or_404(rows, id=run_id)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def rescore_list(request: PortalRequest, slug: str) -> HttpResponse:
    """How many visits need it, and the runs so far; a POST orders one."""
    group = enter(request, slug, "visit.rescore")
    form = RescoreForm(posted(request))
    if request.method == "POST" and form.is_valid():
        run = request_rescoring(person=request.person, group=group, **form.cleaned_data)
        return redirect("rescore_detail", slug=slug, run_id=run.pk)
    runs = list(RescoreRun.objects.of_group(group).select_related("started_by")[:RUNS_SHOWN])
    context = {
        "form": form,
        "waiting": visits_to_rescore(group).count(),
        "runs": runs,
        "live": next((run for run in runs if run.is_live), None),
    }
    return render(request, "surveys/rescore_list.html", context, status=422 if form.errors else 200)


@login_required
@require_safe
@never_cache
def rescore_detail(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """One run."""
    return render(request, "surveys/rescore_detail.html", {"run": _run(request, slug, run_id)})


@login_required
@require_safe
@never_cache
def rescore_progress(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """The part of the page that asks again while the run is under way."""
    run = _run(request, slug, run_id)
    answer = render(request, "surveys/rescore_progress.html", {"run": run})
    if not run.is_live:
        answer["HX-Refresh"] = "true"
    return answer


@login_required
@require_POST
def rescore_stop(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """Stop a run after its present batch."""
    run = _run(request, slug, run_id)
    try:
        stop_rescoring(person=request.person, run=run)
    except NotPossible as reason:
        messages.info(request, reason.message)
    else:
        messages.success(request, _("It is stopped. What was scored stays; order it again to go on."))
    return redirect("rescore_detail", slug=slug, run_id=run.pk)
