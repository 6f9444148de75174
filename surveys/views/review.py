"""Checking visits: the queue, the page of one visit, and what a coordinator decides."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts.access import allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from surveys.comparing.seasons import season_of
from surveys.comparing.visits import compare_visit, part_taken
from surveys.errors import ChangedMeanwhile, NotPossible
from surveys.forms import (
    ApproveForm,
    DecisionForm,
    ReasonForm,
    ReturnForm,
    data_from_post,
    decision_forms,
    prefix_of,
    read_entry,
    shown_revision,
    shown_revisions,
)
from surveys.forms.questions import QuestionForm
from surveys.histories import trail_of
from surveys.importing.queries import waiting_sheets
from surveys.models import Finding, Visit
from surveys.models.visits import Status
from surveys.queries import number_waiting
from surveys.review.queue import QUEUE_ROWS, any_at_once, give_hindrances, next_waiting, waiting_in_order
from surveys.scores.conventions import conventions_of
from surveys.services.bulk_review import Approvals, approve_several
from surveys.services.findings import decide_finding
from surveys.services.review import approve_visit, return_visit
from surveys.services.saving import all_problems
from surveys.services.visits import correct_visit
from surveys.submission import InvalidSubmission, Problem, submission_data
from surveys.views.shared import (
    find_visit,
    show_entry,
    show_entry_changed,
    show_photos_changed,
    tell_not_approved,
)
from surveys.visits.parts import shown_photos
from surveys.visits.sheets import VisitSheet, score_sheet

CORRECT = "surveys/visit_correct.html"
ACCEPTED = Finding.Decision.ACCEPTED


@login_required
@require_safe
def review_queue(request: PortalRequest, slug: str) -> HttpResponse:
    """What waits to be checked: the lowest first, then the longest waiting."""
    group = enter(request, slug, "visit.review")
    waiting = waiting_in_order(group)
    page = Paginator(waiting, QUEUE_ROWS).get_page(request.GET.get("page", "1"))
    visits = give_hindrances(request.person, page)
    context = {
        "visits": visits,
        "may_tick": any_at_once(visits),
        "page": page,
        "user_id": request.person.user_id,
        "sheets": waiting_sheets(group),
    }
    return render(request, "surveys/review_queue.html", context)


@login_required
@require_POST
def visits_approve(request: PortalRequest, slug: str) -> HttpResponse:
    """Approve the visits that were ticked, from the queue or the desk, and name those that cannot be."""
    group = enter(request, slug, "visit.review")
    try:
        done = approve_several(person=request.person, group=group, seen=shown_revisions(request.POST))
    except NotPossible as refusal:
        messages.error(request, refusal.message)
    else:
        _tell_done(request, done)
    return redirect("group_desk" if request.POST.get("back") == "desk" else "review_queue", slug=slug)


def _tell_done(request: PortalRequest, done: Approvals) -> None:
    if done.approved:
        names = "; ".join(visit.title for visit in done.approved)
        told = ngettext(
            "%(number)d visit approved: %(names)s.",
            "%(number)d visits approved: %(names)s.",
            len(done.approved),
        )
        messages.success(request, told % {"number": len(done.approved), "names": names})
    tell_not_approved(request, done.left)
    if not done.approved and not done.left:
        messages.info(request, _("None of these visits is waiting any more."))


@login_required
@require_safe
def visit_review(request: PortalRequest, slug: str, visit_id: UUID) -> HttpResponse:
    """One visit with its findings beside the fields, against the site's last visits."""
    group = enter(request, slug, "visit.review")
    return show_review(request, find_visit(request.person, group, visit_id))


def show_review(request: PortalRequest, visit: Visit, **wrong: forms.Form) -> HttpResponse:
    """The page; `wrong` are posted forms with mistakes, under the names of the context."""
    scores = score_sheet(visit)
    waiting, is_waiting = number_waiting(visit.group), visit.status == Status.WAITING
    context: dict[str, Any] = {
        "visit": visit,
        "site": visit.site,
        "sheet": VisitSheet(visit, with_position=True),
        "scores": scores,
        "season": season_of(visit, scores.leading) if visit.was_made else [],
        "questions": list(visit.questions.all()),
        "question_form": QuestionForm(),
        "next": next_waiting(request.person, visit) if waiting > is_waiting else None,
        "waiting_count": waiting,
        "may_correct": allowed(request.person, "visit.correct", visit),
        "may_test": allowed(request.person, "visit.test_anyway", visit),
        "conventions": conventions_of(visit),
        "photos": shown_photos([visit]),
        "events": trail_of(visit, visit.group),
        "comparison": compare_visit(visit),
        "decisions": decision_forms(visit, wrong.get("decision_form")),
        "open_findings": [each for each in visit.findings.all() if not each.decision],
        "approve_form": ApproveForm(),
        "return_form": ReturnForm(),
        "may_approve": allowed(request.person, "visit.approve", visit),
        "is_waiting": is_waiting,
        "part_taken": part_taken(request.person, visit),
    }
    return render(request, "surveys/visit_review.html", context | wrong, status=422 if wrong else 200)


@login_required
@require_POST
def visit_approve(request: PortalRequest, slug: str, visit_id: UUID) -> HttpResponse:
    """Vouch for a visit one had no part in; findings still open need one reason for all."""
    group = enter(request, slug, "visit.review")
    visit = find_visit(request.person, group, visit_id, "visit.approve")
    form = ApproveForm(request.POST)
    form.full_clean()
    reason, revision = form.cleaned_data.get("accept_findings_reason", ""), form.cleaned_data.get("revision")
    try:
        approve_visit(person=request.person, visit=visit, accept_findings_reason=reason, revision=revision)
    except NotPossible as refusal:
        return _refused(request, visit, refusal, approve_form=form)
    messages.success(request, _("Approved: %(visit)s.") % {"visit": visit.title})
    return _go_on(request, visit)


def _go_on(request: PortalRequest, visit: Visit) -> HttpResponse:
    """To the next visit that this person may decide, or back to the queue."""
    following = next_waiting(request.person, visit)
    if following is None:
        return redirect("review_queue", slug=visit.group.slug)
    return redirect("visit_review", slug=visit.group.slug, visit_id=following.pk)


def _refused(request: PortalRequest, visit: Visit, refusal: NotPossible, **posted: forms.Form) -> HttpResponse:
    """Say what the service refused: at the field it names, or on the page as it stands by now."""
    form = next(iter(posted.values()))
    if refusal.field in form.fields:
        form.add_error(refusal.field, refusal.message)
        return show_review(request, visit, **posted)
    messages.error(request, refusal.message)
    return redirect("visit_review", slug=visit.group.slug, visit_id=visit.pk)


@login_required
@require_POST
def visit_return(request: PortalRequest, slug: str, visit_id: UUID) -> HttpResponse:
    """Ask the recorder to look again, by a message."""
    group = enter(request, slug, "visit.review")
    visit = find_visit(request.person, group, visit_id, "visit.return")
    form = ReturnForm(request.POST)
    if not form.is_valid():
        return show_review(request, visit, return_form=form)
    try:
        return_visit(person=request.person, visit=visit, message=form.cleaned_data["message"])
    except NotPossible as refusal:
        return _refused(request, visit, refusal, return_form=form)
    messages.success(request, _("Returned to the recorder, who gets your message by e-mail."))
    return _go_on(request, visit)


@login_required
@require_POST
def finding_decide(request: PortalRequest, slug: str, finding_id: UUID) -> HttpResponse:
    """Say of one finding why it is right as recorded."""
    group = enter(request, slug, "visit.review")
    finding = get_object_or_404(Finding.objects.of_group(group), id=finding_id)
    visit = find_visit(request.person, group, finding.visit_id, "visit.approve")
    form = DecisionForm(request.POST, prefix=prefix_of(finding))
    if not form.is_valid():
        return show_review(request, visit, decision_form=form)
    try:
        reason = form.cleaned_data["reason"]
        decide_finding(person=request.person, finding=finding, decision=ACCEPTED, reason=reason)
    except NotPossible as refusal:
        return _refused(request, visit, refusal, decision_form=form)
    return redirect(f"{resolve_url('visit_review', slug=slug, visit_id=visit.pk)}#findings")


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def visit_correct(request: PortalRequest, slug: str, visit_id: UUID) -> HttpResponse:
    """The form for a coordinator who knows better; needs a reason, and somebody else approves."""
    group = enter(request, slug, "visit.review")
    visit = find_visit(request.person, group, visit_id, "visit.correct", is_for_form=True)
    if request.method == "POST":
        return _take_correction(request, visit)
    return show_entry(request, CORRECT, visit, submission_data(visit), reason_form=ReasonForm())


def _take_correction(request: PortalRequest, visit: Visit) -> HttpResponse:
    data, form = data_from_post(request.POST), ReasonForm(request.POST)
    # Unbound: nobody is told to give a reason while they only add a picture.
    typed = ReasonForm(initial={"reason": request.POST.get("reason", "")})
    pictures = show_photos_changed(request, CORRECT, visit, data, reason_form=typed)
    if pictures:
        return pictures
    problems: Iterable[Problem] = ()
    try:
        submission = read_entry(data, number=visit.pk, site=visit.site_id)
        if form.is_valid():
            told = {"reason": form.cleaned_data["reason"], "revision": shown_revision(request.POST)}
            correct_visit(person=request.person, visit=visit, submission=submission, **told)
            return _corrected(request, visit)
    except InvalidSubmission as refusal:
        problems = all_problems(refusal, visit.site, visit)
    except ChangedMeanwhile:
        return show_entry_changed(request, CORRECT, visit, data, reason_form=form)
    except NotPossible as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
    answer = show_entry(request, CORRECT, visit, data, problems=problems, reason_form=form)
    answer.status_code = 422
    return answer


def _corrected(request: PortalRequest, visit: Visit) -> HttpResponse:
    messages.success(request, _("Corrected. What changed stays visible; another coordinator approves it."))
    return redirect("visit_review", slug=visit.group.slug, visit_id=visit.pk)
