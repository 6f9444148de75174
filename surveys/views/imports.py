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

from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, posted
from portal.jobs.queries import live_job
from surveys.forms.imports import SheetForm, UndoForm
from surveys.importing import COLUMNS, UnusableFile, check_sheet
from surveys.importing.columns import template_csv
from surveys.importing.holds import reasons_to_keep
from surveys.importing.mending import as_workbook, bad_lines
from surveys.importing.previewing import preview_of
from surveys.importing.queries import kept_sheets, loaded_runs, run_state
from surveys.models import ImportRun
from surveys.services import imports as services
from surveys.services.errors import NotPossible

# A page lists the first problems; the rest usually repeats them, and the list stays readable on a phone.
PROBLEMS_SHOWN = 200
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
            run = services.keep_sheet(person=request.person, group=group, file=upload, file_name=upload.name)
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
    """What the check of a sheet found, or what became of its visits."""
    run = find_run(enter(request, slug, "import.run"), run_id)
    if not (run.plan or run.loaded_at):
        return redirect("import_map", slug=slug, run_id=run.pk)
    try:
        return show_run(request, run)
    except UnusableFile as unusable:
        messages.error(request, str(unusable))
        return redirect("import_map", slug=slug, run_id=run.pk)


def find_run(group: Group, run_id: UUID) -> ImportRun:
    """The sheet of that number in the group, or the page of what is not there."""
    rows = ImportRun.objects.of_group(group).select_related("group", "started_by", "undone_by")
    return get_object_or_404(rows, id=run_id)


def show_run(request: PortalRequest, run: ImportRun, status: int = 200, **context: Any) -> HttpResponse:
    """The page of a sheet: what its check found, or what became of its visits."""
    context |= {"run": run, "job": live_job(run.group, f"import {run.pk}")}
    # Once it is loaded there is nothing left to check, and the file is mostly gone.
    if run.loaded_at:
        context |= {"state": run_state(request.person, run), "holds": reasons_to_keep(run)}
        context.setdefault("undo_form", UndoForm())
        return render(request, "surveys/import_loaded.html", context, status=status)
    checked = services.check_run(person=request.person, run=run)
    context |= {
        "checked": checked,
        "shown": checked.problems[:PROBLEMS_SHOWN],
        "preview": preview_of(run.group, checked),
    }
    return render(request, "surveys/import_detail.html", context, status=status)


@login_required
@require_safe
def import_errors(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """The rows that cannot be loaded, as a sheet that says what is wrong with each."""
    run = find_run(enter(request, slug, "import.run"), run_id)
    if not (run.file and run.plan):
        raise Http404
    sheet = services.laid_out(run)
    lines = bad_lines(sheet, check_sheet(group=run.group, sheet=sheet))
    answer = HttpResponse(as_workbook(lines), content_type=XLSX)
    name = f"to-mend-{PurePath(run.file_name).stem}.xlsx"
    answer["Content-Disposition"] = content_disposition_header(True, name) or ""
    return answer


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
    run = find_run(enter(request, slug, "import.run"), run_id)
    reason = request.POST.get("accept_findings_reason", "")
    try:
        done = services.approve_run(person=request.person, run=run, accept_findings_reason=reason)
    except NotPossible as refused:
        return show_run(request, run, status=422, mistake=refused.message)
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
    return redirect("import_detail", slug=slug, run_id=run.pk)
