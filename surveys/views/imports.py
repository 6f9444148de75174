"""Pages for loading past visits from a spreadsheet."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import content_disposition_header
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts.access import allowed, require
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, posted
from portal.audit.services import record_taken
from portal.jobs.queries import last_job, live_job
from surveys.errors import NotPossible
from surveys.forms.imports import SheetForm, UndoForm
from surveys.forms.review import shown_revisions
from surveys.importing import COLUMNS, UnusableFile
from surveys.importing.columns import template_csv
from surveys.importing.holds import reasons_to_keep
from surveys.importing.queries import kept_sheets, loaded_runs, run_state
from surveys.importing.reports import Report
from surveys.models import ImportRun
from surveys.services import imports as services
from surveys.views.shared import tell_not_approved

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def import_visits(request: PortalRequest, slug: str) -> HttpResponse:
    """Choose a sheet to be checked; the columns it may have; the sheets loaded so far."""
    group = enter(request, slug, "import.run")
    form = SheetForm(posted(request), request.FILES or None)
    if request.method == "POST" and form.is_valid():
        upload = form.cleaned_data["sheet"]
        try:
            run = services.take_sheet(person=request.person, group=group, file=upload, file_name=upload.name)
        except UnusableFile as unusable:
            form.add_error("sheet", str(unusable))
        else:
            # A sheet with names of its own is explained first.
            return redirect("import_detail" if run.plan else "import_map", slug=slug, run_id=run.pk)
    context = {"form": form, "columns": COLUMNS, "runs": loaded_runs(group), "kept": kept_sheets(group)}
    return render(request, "surveys/import_visits.html", context, status=422 if form.errors else 200)


@login_required
@require_safe
def import_template(request: PortalRequest, slug: str) -> HttpResponse:
    """A sheet to start from."""
    enter(request, slug, "import.run")
    answer = HttpResponse(template_csv(), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="visits-template.csv"'
    return answer


@login_required
@require_safe
def import_detail(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """What the check of a sheet found, or what became of its visits; guests see what waits for them."""
    run = find_run(enter(request, slug, "visit.review"), run_id)
    if not run.loaded_at:
        require(request.person, "import.run", run)
    if not (run.plan or run.loaded_at):
        return redirect("import_map", slug=slug, run_id=run.pk)
    return show_run(request, run)


def find_run(group: Group, run_id: UUID) -> ImportRun:
    """The sheet of that number in the group, or the page of what is not there."""
    rows = ImportRun.objects.of_group(group).select_related("group", "started_by", "undone_by")
    return get_object_or_404(rows, id=run_id)


def show_run(request: PortalRequest, run: ImportRun, status: int = 200, **context: Any) -> HttpResponse:
    """The page of a sheet: what its check found, or what became of its visits."""
    context |= {"run": run, "job": live_job(run.group, f"import {run.pk}")}
    # Once it is loaded there is nothing left to check, and the file is mostly gone.
    if run.loaded_at:
        may_load = allowed(request.person, "import.run", run)
        context |= {"state": run_state(request.person, run), "may_load": may_load}
        context |= {"holds": reasons_to_keep(run) if may_load else []}
        context.setdefault("undo_form", UndoForm())
        context.setdefault("shown", [f"{each.pk}:{each.revision}" for each in context["state"].changed])
        return render(request, "surveys/import_loaded.html", context, status=status)
    context |= {
        "checked": Report.of_json(run.report) if run.report else None,
        "check_job": last_job(run.group, services.check_key(run)),
    }
    return render(request, "surveys/import_detail.html", context, status=status)


@login_required
@require_safe
def import_errors(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """The rows that cannot be loaded, as a sheet that says what is wrong with each."""
    run = find_run(enter(request, slug, "import.run"), run_id)
    if not run.to_mend:
        raise Http404
    name = f"to-mend-{PurePath(run.file_name).stem}.xlsx"
    record_taken(request, run, name)
    with run.to_mend.open("rb") as file:
        answer = HttpResponse(file.read(), content_type=XLSX)
    answer["Content-Disposition"] = content_disposition_header(True, name) or ""
    return answer


@login_required
@require_POST
def import_check(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """Order the check of a kept sheet anew."""
    run = find_run(enter(request, slug, "import.run"), run_id)
    if run.plan and run.file and not run.loaded_at:
        services.request_check(person=request.person, run=run)
    return redirect("import_detail", slug=slug, run_id=run.pk)


@login_required
@require_POST
def import_load(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """Order the loading of the sheet that was checked."""
    run = find_run(enter(request, slug, "import.run"), run_id)
    if run.loaded_at or not run.plan:
        return redirect("import_detail", slug=slug, run_id=run.pk)
    job = services.request_loading(person=request.person, run=run, only_sound="only_sound" in request.POST)
    return redirect("job_detail", slug=slug, job_id=job.pk)


@login_required
@require_POST
def import_approve(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """Approve the waiting visits of a run in one go."""
    run = find_run(enter(request, slug, "visit.review"), run_id)
    reason = request.POST.get("accept_findings_reason", "")
    try:
        done = services.approve_run(
            person=request.person, run=run, accept_findings_reason=reason, seen=shown_revisions(request.POST)
        )
    except NotPossible as refused:
        # What was shown stays what the page showed first: this answer shows no visit anew.
        shown = request.POST.getlist("visit")
        return show_run(request, run, status=422, mistake=refused.message, shown=shown)
    messages.success(
        request, ngettext("%d visit was approved.", "%d visits were approved.", done.approved) % done.approved
    )
    if done.left:
        words = ngettext(
            "%d visit still waits: you took part in it.",
            "%d visits still wait: you took part in them.",
            done.left,
        )
        messages.warning(request, words % done.left)
    tell_not_approved(request, done.changed)
    return redirect("import_detail", slug=slug, run_id=run.pk)
