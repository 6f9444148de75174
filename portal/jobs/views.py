"""Pages of the long work: what there is, how far one is, stopping it, fetching what it made."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from portal.accounts.access import require
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from portal.audit.services import record_taken
from portal.jobs.models import Job
from portal.jobs.queries import jobs_of
from portal.jobs.services import FILES_KEPT, JobOver, stop_job

ON_A_PAGE = 30


def _job(request: PortalRequest, slug: str, job_id: UUID, action: str = "job.view") -> Job:
    group = enter(request, slug, "group.view")
    rows = Job.objects.of_group(group).select_related("group", "started_by")
    job = get_object_or_404(rows, id=job_id)
    require(request.person, action, job)
    return job


@login_required
@require_safe
@never_cache
def job_list(request: PortalRequest, slug: str) -> HttpResponse:
    """One's own work; coordinators see everybody's."""
    group = enter(request, slug, "group.view")
    page = Paginator(jobs_of(group, request.person), ON_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "jobs/job_list.html", {"page": page})


@login_required
@require_safe
@never_cache
def job_detail(request: PortalRequest, slug: str, job_id: UUID) -> HttpResponse:
    """One job: how far it is, or what came of it."""
    context = {"job": _job(request, slug, job_id), "days_kept": FILES_KEPT.days}
    return render(request, "jobs/job_detail.html", context)


@login_required
@require_safe
@never_cache
def job_progress(request: PortalRequest, slug: str, job_id: UUID) -> HttpResponse:
    """The part of the page that asks again while the job is under way."""
    job = _job(request, slug, job_id)
    answer = render(request, "jobs/job_progress.html", {"job": job})
    if not job.is_live:
        # The rest of the page has changed too.
        answer["HX-Refresh"] = "true"
    return answer


@login_required
@require_POST
def job_stop(request: PortalRequest, slug: str, job_id: UUID) -> HttpResponse:
    """Stop a job at its next step."""
    job = _job(request, slug, job_id, "job.stop")
    try:
        stop_job(person=request.person, job=job)
    except JobOver:
        messages.info(request, _("It is over already."))
    else:
        messages.success(request, _("It is stopped. Nothing is left half done."))
    return redirect("job_detail", slug=slug, job_id=job.pk)


@login_required
@require_safe
@never_cache
def job_file(request: PortalRequest, slug: str, job_id: UUID) -> FileResponse:
    """The file a job made, while it is kept."""
    job = _job(request, slug, job_id)
    if not job.file:
        raise Http404
    record_taken(request, job, job.file_name)
    return FileResponse(job.file.open("rb"), as_attachment=True, filename=job.file_name)
