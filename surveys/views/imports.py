"""Pages for loading past visits from a spreadsheet."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, posted
from surveys.forms.imports import SheetForm
from surveys.importing import COLUMNS, UnusableFile
from surveys.importing.columns import template_csv
from surveys.importing.queries import loaded_runs, run_state
from surveys.models import ImportRun
from surveys.services import imports as services
from surveys.services.errors import NotPossible

# A page lists the first problems; the rest usually repeats them, and the list stays readable on a phone.
PROBLEMS_SHOWN = 200


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
            return redirect("import_detail", slug=slug, run_id=run.pk)
    context = {"form": form, "columns": COLUMNS, "runs": loaded_runs(group)}
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
    group = enter(request, slug, "import.run")
    return _show(request, _run(group, run_id))


def _run(group: Group, run_id: UUID) -> ImportRun:
    return get_object_or_404(ImportRun.objects.of_group(group).select_related("group", "started_by"), id=run_id)


def _show(request: PortalRequest, run: ImportRun, status: int = 200, **context: Any) -> HttpResponse:
    # The file is gone once it is loaded, so there is nothing left to check.
    if run.loaded_at:
        context["state"] = run_state(request.person, run)
        return render(request, "surveys/import_loaded.html", {"run": run, **context}, status=status)
    checked = context.pop("checked", None) or services.check_run(person=request.person, run=run)
    context |= {"checked": checked, "shown": checked.problems[:PROBLEMS_SHOWN]}
    return render(request, "surveys/import_detail.html", {"run": run, **context}, status=status)


@login_required
@require_POST
def import_load(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """Load the sheet that was checked."""
    run = _run(enter(request, slug, "import.run"), run_id)
    try:
        loaded = services.load_run(person=request.person, run=run)
    except services.SheetHasProblems as changed:
        return _show(request, run, status=422, checked=changed.checked)
    messages.success(
        request, ngettext("%d visit was loaded.", "%d visits were loaded.", loaded.new) % loaded.new
    )
    return redirect("import_detail", slug=slug, run_id=run.pk)


@login_required
@require_POST
def import_approve(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """Approve the waiting visits of a run in one go."""
    run = _run(enter(request, slug, "visit.review"), run_id)
    reason = request.POST.get("accept_findings_reason", "")
    try:
        done = services.approve_run(person=request.person, run=run, accept_findings_reason=reason)
    except NotPossible as refused:
        return _show(request, run, status=422, mistake=refused.message)
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
