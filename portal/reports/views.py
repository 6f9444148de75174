"""Pages of the yearly report."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts.access import allowed, require
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, posted
from portal.audit.services import record_taken
from portal.public.answering import answer
from portal.reports import queries
from portal.reports.forms import CAPTION, ReportForm, WordsForm
from portal.reports.identifiers import PREFIX, frozen_text, is_sound
from portal.reports.models import YearlyReport
from portal.reports.services import (
    CorrectionMissing,
    NotReady,
    Words,
    request_publishing,
    request_report,
    reword_report,
)

REPORTS_PER_PAGE = 25


def _report(request: PortalRequest, slug: str, report_id: UUID) -> YearlyReport:
    """The report, if the person may see it: a draft is for those who make it."""
    group = enter(request, slug, "report.view")
    rows = YearlyReport.objects.of_group(group).select_related("group", "job")
    report = get_object_or_404(rows, id=report_id)
    if not report.is_published:
        require(request.person, "report.make", report)
    return report


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def report_list(request: PortalRequest, slug: str) -> HttpResponse:
    """All reports of the group; a POST orders one."""
    group = enter(request, slug, "report.make" if request.method == "POST" else "report.view")
    form = ReportForm(posted(request), years=queries.reportable_years(group))
    if request.method == "POST" and form.is_valid():
        report = request_report(person=request.person, group=group, **form.cleaned_data)
        return redirect("report_detail", slug=slug, report_id=report.id)
    reports = queries.reports_of(group, request.person)
    page = Paginator(reports, REPORTS_PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "group": group,
        "form": form,
        "page": page,
        "may_make": allowed(request.person, "report.make", group),
    }
    return render(request, "reports/report_list.html", context, status=422 if form.errors else 200)


@login_required
@require_safe
@never_cache
def report_detail(request: PortalRequest, slug: str, report_id: UUID) -> HttpResponse:
    """One report: how far it is, the draft to read, and what publishing means."""
    report = _report(request, slug, report_id)
    may_make = allowed(request.person, "report.make", report)
    context = {"group": request.current_group, "report": report, "may_make": may_make}
    return render(request, "reports/report_detail.html", context)


@login_required
@require_safe
@never_cache
def report_file(request: PortalRequest, slug: str, report_id: UUID) -> FileResponse:
    """The document, a draft included."""
    report = _report(request, slug, report_id)
    if not report.is_published:
        # What is before the public anyway is taken by anybody.
        record_taken(request, report, f"{_name(report)}.pdf")
    return _serve(report)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def report_words(request: PortalRequest, slug: str, report_id: UUID) -> HttpResponse:
    """Foreword, captions and sections of a draft; saving sets its pages anew."""
    report = _report(request, slug, report_id)
    require(request.person, "report.make", report)
    if report.is_published or not report.data:
        messages.error(
            request, _("Only a draft that is made can be worded. After publishing, make a new edition.")
        )
        return redirect("report_detail", slug=slug, report_id=report_id)
    form = _words_form(request, report)
    if request.method == "POST" and form.is_valid():
        reword_report(person=request.person, report=report, words=Words(**form.words()))
        return redirect("report_detail", slug=slug, report_id=report_id)
    context = {"group": request.current_group, "report": report, "form": form}
    return render(request, "reports/report_words.html", context, status=422 if form.errors else 200)


def _words_form(request: PortalRequest, report: YearlyReport) -> WordsForm:
    captions = {CAPTION + key: words for key, words in report.captions.items()}
    own = {name: getattr(report, name) for name in ("foreword", "left_out", "correction")}
    return WordsForm(
        posted(request),
        figures=report.data,
        is_correction=queries.earlier_edition(report) is not None,
        initial=own | captions,
    )


@login_required
@require_POST
def report_publish(request: PortalRequest, slug: str, report_id: UUID) -> HttpResponse:
    """Order that the report is put before the public."""
    report = _report(request, slug, report_id)
    try:
        job = request_publishing(person=request.person, report=report)
    except CorrectionMissing:
        messages.error(request, _("Say first what was corrected in this edition."))
        return redirect("report_words", slug=slug, report_id=report_id)
    except NotReady as state:
        messages.error(
            request, _("It cannot be published, because its state is: %(state)s.") % {"state": state}
        )
        return redirect("report_detail", slug=slug, report_id=report_id)
    return redirect("job_detail", slug=slug, job_id=job.pk)


@require_safe
def public_report(request: HttpRequest, report_id: UUID) -> HttpResponseBase:
    """A published report, for everybody."""
    report = queries.public_report_at(report_id)
    return answer(request, [report.group], lambda: _public_page(request, report))


def _public_page(request: HttpRequest, report: YearlyReport) -> HttpResponse:
    earlier, newer = queries.editions_beside(report)
    context = {
        "group": report.group,
        "report": report,
        "figures": report.data,
        "newer": newer,
        "earlier": earlier,
    }
    return render(request, "reports/public_report.html", context)


@require_safe
def public_report_file(request: HttpRequest, report_id: UUID) -> HttpResponseBase:
    """The published document."""
    report = queries.public_report_at(report_id)
    return answer(request, [report.group], lambda: _serve(report))


@require_safe
def public_report_figures(request: HttpRequest, report_id: UUID) -> HttpResponseBase:
    """The frozen figures as JSON, byte for byte what the digest was taken of."""
    report = queries.public_report_at(report_id)
    return answer(request, [report.group], lambda: _figures(report))


def _figures(report: YearlyReport) -> HttpResponse:
    made = HttpResponse(frozen_text(report.data), content_type="application/json; charset=utf-8")
    made["Content-Disposition"] = f'attachment; filename="{_name(report)}.json"'
    return made


@require_safe
def report_by_identifier(request: PortalRequest, identifier: str) -> HttpResponse:
    """The report with that identifier; a mistyped one is told from one that no report has."""
    wanted = PREFIX + identifier.lower().removeprefix(PREFIX)
    found = queries.published_report_named(wanted)
    if found:
        return redirect("public_report", report_id=found.pk)
    context = {"identifier": wanted, "is_sound": is_sound(wanted)}
    return render(request, "reports/identifier_unknown.html", context, status=404)


def _name(report: YearlyReport) -> str:
    return f"{report.group.slug}-{report.year}-{report.edition}"


def _serve(report: YearlyReport) -> FileResponse:
    if not report.file:
        raise Http404
    return FileResponse(report.file.open("rb"), filename=f"{_name(report)}.pdf", content_type="application/pdf")
