"""Pages for taking records out of the portal."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import FileResponse, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from portal.accounts.access import allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, posted
from surveys.errors import NotPossible
from surveys.exporting import services
from surveys.exporting.contents import CONTENTS
from surveys.exporting.darwin.archive import publishable
from surveys.exporting.forms import ExportForm, TermsForm
from surveys.exporting.services import ARCHIVE, Wish
from surveys.forms import VisitFilter
from surveys.queries import visits_of


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def export_make(request: PortalRequest, slug: str) -> HttpResponseBase:
    """Take the visits of the list that is chosen in the address, as a file."""
    group = enter(request, slug, "export.run")
    choice = VisitFilter(request.GET, group=group)
    form = ExportForm(posted(request))
    if request.method == "POST" and form.is_valid():
        return _give(request, group, Wish(choice=choice.query(), **form.cleaned_data))
    return _show(request, group, choice, form)


def _show(request: PortalRequest, group: Group, choice: VisitFilter, form: ExportForm) -> HttpResponse:
    chosen, may_publish = choice.chosen(), allowed(request.person, "archive.make", group)
    context = {
        "form": form,
        "choice": choice,
        "query": choice.query(),
        "contents": CONTENTS.values(),
        "visits": visits_of(group).filter(chosen).count(),
        "at_once": services.VISITS_AT_ONCE,
        "may_publish": may_publish,
        "publishable": publishable(group, chosen).count() if may_publish else 0,
        "terms": services.terms_of(group) if may_publish else None,
        "names_all": request.person.is_coordinator(group.pk),
    }
    return render(request, "exporting/export_make.html", context, status=422 if form.errors else 200)


def _give(request: PortalRequest, group: Group, wish: Wish) -> HttpResponseBase:
    """The file at once, or the page of the job that makes it."""
    if services.is_large(services.visits_meant(group, wish), wish):
        job = services.request_export(person=request.person, group=group, wish=wish)
        return redirect("job_detail", slug=group.slug, job_id=job.pk)
    out = services.make_export(person=request.person, group=group, wish=wish)
    name = wish.file_name(group)
    return FileResponse(out, as_attachment=True, filename=name, content_type=wish.media_type)


@login_required
@require_http_methods(["POST"])
def archive_make(request: PortalRequest, slug: str) -> HttpResponseBase:
    """The approved visits among those chosen, as a Darwin Core Archive."""
    group = enter(request, slug, "archive.make")
    try:
        return _give(request, group, Wish(ARCHIVE, choice=VisitFilter(request.GET, group=group).query()))
    except NotPossible as reason:
        messages.error(request, reason.message)
        return redirect("publishing_terms", slug=slug)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def publishing_terms(request: PortalRequest, slug: str) -> HttpResponse:
    """On what terms the group gives its records to archives."""
    group = enter(request, slug, "archive.make")
    form = TermsForm(posted(request), instance=services.terms_of(group))
    if request.method == "POST" and form.is_valid():
        services.set_terms(person=request.person, group=group, terms=form.instance)
        messages.success(request, _("The terms are kept."))
        return redirect("export_make", slug=slug)
    return render(
        request, "exporting/publishing_terms.html", {"form": form}, status=422 if form.errors else 200
    )
