"""Undoing a whole import."""

from __future__ import annotations

from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from surveys.errors import NotPossible
from surveys.forms.imports import UndoForm
from surveys.services import imports as services
from surveys.views.imports import find_run, show_run


@login_required
@require_POST
def import_undo(request: PortalRequest, slug: str, run_id: UUID) -> HttpResponse:
    """Order the removal of all visits of a sheet, with a reason."""
    run = find_run(enter(request, slug, "import.run"), run_id)
    if not run.loaded_at:
        return redirect("import_detail", slug=slug, run_id=run.pk)
    form = UndoForm(request.POST)
    if form.is_valid():
        try:
            job = services.request_undoing(person=request.person, run=run, **form.cleaned_data)
        except NotPossible as refused:
            form.add_error("reason", refused.message)
        else:
            return redirect("job_detail", slug=slug, job_id=job.pk)
    return show_run(request, run, status=422, undo_form=form)
