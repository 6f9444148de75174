"""Having a group's visits scored anew: what needs it, and the jobs so far."""

from __future__ import annotations

from django import forms
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, posted
from portal.jobs.queries import jobs_of
from surveys.scores.rescoring import visits_to_rescore
from surveys.services.rescoring import KIND, request_rescoring

RUNS_SHOWN = 20


class RescoreForm(forms.Form):
    """Why visits are scored anew."""

    reason = forms.CharField(
        label=gettext_lazy("Why"),
        max_length=500,
        widget=forms.Textarea(attrs={"rows": "2"}),
        help_text=gettext_lazy("For instance: new version of the method. It stays in the group's records."),
    )


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def rescore_list(request: PortalRequest, slug: str) -> HttpResponse:
    """How many visits need it, and the runs so far; a POST orders one."""
    group = enter(request, slug, "visit.rescore")
    form = RescoreForm(posted(request))
    if request.method == "POST" and form.is_valid():
        job = request_rescoring(person=request.person, group=group, **form.cleaned_data)
        return redirect("job_detail", slug=slug, job_id=job.pk)
    runs = list(jobs_of(group, request.person).filter(kind=KIND)[:RUNS_SHOWN])
    context = {
        "form": form,
        "waiting": visits_to_rescore(group).count(),
        "runs": runs,
        "live": next((run for run in runs if run.is_live), None),
    }
    return render(request, "surveys/rescore_list.html", context, status=422 if form.errors else 200)
