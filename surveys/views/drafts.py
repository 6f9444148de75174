"""A visit being typed: started, kept, discarded, sent in."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import QuerySet
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import time_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from portal.accounts.access import Person
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter
from portal.accounts.prepared import prepared
from surveys.errors import NotPossible
from surveys.forms import data_from_post, read_entry
from surveys.forms.posted import TAKE_UP
from surveys.models import Draft, Site, Visit
from surveys.services.drafts import discard_draft, save_draft, start_visit
from surveys.services.saving import all_problems
from surveys.services.visits import submit_visit
from surveys.submission import InvalidSubmission
from surveys.views.shared import find_draft, find_site, show_entry, store_upload

TEMPLATE = "surveys/visit_submit.html"


@login_required
@require_POST
def visit_start(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """Give the visit its number before anything is typed, so that a resend of the form is known."""
    group = enter(request, slug, "visit.submit")
    draft = start_visit(person=request.person, site=find_site(group, site_id))
    return redirect("visit_submit", slug=slug, draft_id=draft.pk)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def visit_submit(request: PortalRequest, slug: str, draft_id: UUID) -> HttpResponse:
    """The visit form; a draft that was sent in already leads to its visit."""
    group = enter(request, slug, "visit.submit")
    if _sent_in(group, draft_id):
        return redirect("visit_detail", slug=slug, visit_id=draft_id)
    draft = find_draft(request.person, group, draft_id)
    if request.method == "POST":
        return _take(request, draft)
    is_new = "visited_on" not in draft.data
    data = opening_data(draft.site, request.person) if is_new else draft.data
    return show_entry(request, TEMPLATE, draft, data)


@prepared
def _sent_in(group: Group, number: UUID) -> QuerySet[Visit, UUID]:
    return Visit.objects.of_group(group).filter(id=number).values_list("pk", flat=True)


def _take(request: PortalRequest, draft: Draft) -> HttpResponse:
    """Keep what was typed, whatever becomes of it; then send it in unless it is only to be kept."""
    data = keep_typed(request, draft)
    photo_problem = store_upload(request, draft) if request.FILES else ""
    if photo_problem:
        return show_photo_problem(request, draft, data, photo_problem)
    if TAKE_UP in request.POST:
        return redirect("visit_submit", slug=draft.group.slug, draft_id=draft.pk)
    if "keep" in request.POST:
        messages.success(request, _("Your draft is saved. It waits for you on your group's desk."))
        return redirect("visit_submit", slug=draft.group.slug, draft_id=draft.pk)
    return _send_in(request, draft, data)


def _send_in(request: PortalRequest, draft: Draft, data: dict[str, Any]) -> HttpResponse:
    try:
        submission = read_entry(data, number=draft.pk, site=draft.site_id)
        receipt = submit_visit(person=request.person, submission=submission)
    except InvalidSubmission as refusal:
        problems = all_problems(refusal, draft.site)
        return show_entry(request, TEMPLATE, draft, data, problems=problems)
    address = reverse("visit_detail", kwargs={"slug": draft.group.slug, "visit_id": receipt.visit.pk})
    return redirect(f"{address}?sent=1")


@login_required
@require_POST
def draft_save(request: PortalRequest, slug: str, draft_id: UUID) -> HttpResponse:
    """Keep what is typed so far; the page's script calls this every few seconds."""
    group = enter(request, slug, "visit.submit")
    try:
        keep_typed(request, find_draft(request.person, group, draft_id))
    except NotPossible as reason:
        return JsonResponse({"problem": reason.message}, status=409)
    return JsonResponse({"saved_at": time_format(timezone.localtime(), "H:i")})


@login_required
@require_POST
def draft_discard(request: PortalRequest, slug: str, draft_id: UUID) -> HttpResponse:
    """Throw a draft away with its pictures."""
    group = enter(request, slug, "visit.submit")
    draft = find_draft(request.person, group, draft_id)
    try:
        discard_draft(person=request.person, draft=draft)
    except NotPossible as reason:
        messages.error(request, reason.message)
    else:
        messages.success(request, _("The draft is thrown away."))
    return redirect("site_detail", slug=slug, site_id=draft.site_id)


def keep_typed(request: PortalRequest, draft: Draft) -> dict[str, Any]:
    """Save the posted fields on the draft and return them as submission data."""
    data = data_from_post(request.POST)
    save_draft(person=request.person, site=draft.site, number=draft.pk, data=data)
    return data


def show_photo_problem(
    request: PortalRequest, draft: Draft, data: dict[str, Any], problem: str
) -> HttpResponse:
    """The form again, with what is wrong with the picture."""
    return show_entry(request, TEMPLATE, draft, data, photo_problem=problem)


def opening_data(site: Site, person: Person) -> dict[str, Any]:
    """What a new form starts with: oneself and the planned kicks, but no seconds: those are timed."""
    spots = [{"number": number, "kicks": str(site.kicks_per_spot)} for number in range(1, site.spots + 1)]
    return {"was_made": True, "recorder": str(person.user_id), "spots": spots}
