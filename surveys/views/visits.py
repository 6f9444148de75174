"""Visits that were sent in: listed, read, mended by their recorder."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from portal.accounts.access import allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from surveys.errors import ChangedMeanwhile, NotPossible
from surveys.forms import VisitFilter, data_from_post, read_entry, shown_revision
from surveys.histories import trail_of
from surveys.models import Visit
from surveys.models.visits import Status
from surveys.overviews import page_of_visits
from surveys.scores.conventions import conventions_of
from surveys.services.saving import all_problems
from surveys.services.visits import mend_visit
from surveys.submission import InvalidSubmission, submission_data
from surveys.submission.placing import POSITION
from surveys.views.shared import find_visit, show_entry, show_entry_changed, show_photos_changed
from surveys.visits.parts import shown_photos
from surveys.visits.sheets import VisitSheet, score_sheet

MEND = "surveys/visit_mend.html"


@login_required
@require_safe
def visit_list(request: PortalRequest, slug: str) -> HttpResponse:
    """The group's visits, newest first, by site, year and status."""
    group = enter(request, slug, "visit.view")
    form = VisitFilter(request.GET, group=group)
    page = page_of_visits(group, form.chosen(), request.GET.get("page", "1"))
    context = {
        "form": form,
        "page": page,
        "query": form.query(),
        "may_export": allowed(request.person, "export.run", group),
    }
    return render(request, "surveys/visit_list.html", context)


@login_required
@require_safe
def visit_detail(request: PortalRequest, slug: str, visit_id: UUID) -> HttpResponse:
    """All that is known of one visit; just sent in, it thanks and says what it meant."""
    group = enter(request, slug, "visit.view")
    visit = find_visit(request.person, group, visit_id)
    sees_position = allowed(request.person, "visit.see_position", visit)
    context = {
        "visit": visit,
        "site": visit.site,
        "sheet": VisitSheet(visit, with_position=sees_position),
        "scores": score_sheet(visit),
        "conventions": conventions_of(visit),
        "photos": shown_photos([visit]),
        "events": trail_of(visit, group, hidden=() if sees_position else (POSITION,)),
        "questions": list(visit.questions.all()),
        "is_new": "sent" in request.GET and visit.entered_by_id == request.person.user_id,
        "may_mend": visit.status != Status.APPROVED and allowed(request.person, "visit.mend", visit),
        "may_review": allowed(request.person, "visit.review", visit),
    }
    return render(request, "surveys/visit_detail.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def visit_mend(request: PortalRequest, slug: str, visit_id: UUID) -> HttpResponse:
    """The form again, for a visit that a coordinator returned or that nobody has approved yet."""
    group = enter(request, slug, "visit.view")
    visit = find_visit(request.person, group, visit_id, "visit.mend", is_for_form=True)
    if visit.status == Status.APPROVED:
        messages.info(request, _("This visit is approved: ask a coordinator to correct it."))
        return redirect("visit_detail", slug=slug, visit_id=visit.pk)
    if request.method == "POST":
        return _take_mended(request, visit)
    return show_entry(request, MEND, visit, submission_data(visit))


def _take_mended(request: PortalRequest, visit: Visit) -> HttpResponse:
    data = data_from_post(request.POST)
    pictures = show_photos_changed(request, MEND, visit, data)
    if pictures:
        return pictures
    try:
        submission = read_entry(data, number=visit.pk, site=visit.site_id)
        revision = shown_revision(request.POST)
        mend_visit(person=request.person, visit=visit, submission=submission, revision=revision)
    except InvalidSubmission as refusal:
        problems = all_problems(refusal, visit.site, visit)
        return show_entry(request, MEND, visit, data, problems=problems)
    except ChangedMeanwhile:
        return show_entry_changed(request, MEND, visit, data)
    except NotPossible as reason:
        messages.error(request, str(reason))
        return redirect("visit_detail", slug=visit.group.slug, visit_id=visit.pk)
    messages.success(request, _("The mended visit is sent. A coordinator looks at it again."))
    return redirect("visit_detail", slug=visit.group.slug, visit_id=visit.pk)
