"""The rota and its planned visits: read by all, answered by those who go, changed by coordinators."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from portal.accounts.access import allowed, require
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter
from portal.accounts.queries import members_of
from portal.audit.services import history_of
from surveys.people.queries import minor_user_ids
from surveys.rota.forms import ChoiceForm, MoveForm, ReasonForm
from surveys.rota.links import swap_url
from surveys.rota.models import Assignment, CoverOffer, PlannedVisit, SwapOffer
from surveys.rota.queries import (
    availability_of,
    fits_of,
    open_offers,
    open_swaps,
    plan_of,
    plans,
    swap_choices,
)
from surveys.rota.services.answers import accept_place, ask_for_cover, decline_place, take_cover
from surveys.rota.services.changes import add_to_visit, call_off_visit, move_visit, take_off
from surveys.rota.services.swaps import offer_swap
from surveys.rota.views.shared import attempt, carried_out, find_place, find_planned
from surveys.rota.words import course_of, fit_words


@login_required
@require_safe
@never_cache
def rota_page(request: PortalRequest, slug: str) -> HttpResponse:
    """Who goes where when: one's own first, then everybody's."""
    group = enter(request, slug, "rota.view")
    today, me = timezone.localdate(), request.person.user_id
    shown = plans(group, today, PlannedVisit.State.PUBLISHED, PlannedVisit.State.CANCELLED)
    coming = [each for each in shown if each.planned.day >= today]
    context = {
        "coming": coming,
        "past": [each for each in reversed(shown) if each.planned.day < today],
        "own": [(each, each.of(me)) for each in coming if each.of(me) and each.outcome in ("coming", "open")],
        "covers": open_offers(request.person, group, today),
        "swaps": [(each, _answer_url(each, me)) for each in open_swaps(group, today)],
        "has_said": availability_of(request.person, group) is not None,
        "may_plan": allowed(request.person, "rota.plan", group),
    }
    return render(request, "rota/rota_page.html", context)


def _answer_url(swap: SwapOffer, me: UUID | None) -> str:
    """Where the person asked answers; nothing for anybody else."""
    return swap_url(swap) if swap.yours.user_id == me else ""


@login_required
@require_safe
@never_cache
def planned_visit(request: PortalRequest, slug: str, planned_id: UUID) -> HttpResponse:
    """One planned visit: who goes, what was changed, and what one can do about it."""
    group = enter(request, slug, "rota.view")
    return _show(request, group, find_planned(group, planned_id))


def _show(request: PortalRequest, group: Group, planned: PlannedVisit, **sent: forms.Form) -> HttpResponse:
    may_plan = allowed(request.person, "rota.plan", group)
    if planned.is_draft and not may_plan:
        # To a member a draft is not there: it may come to nothing.
        raise Http404
    today = timezone.localdate()
    plan = plan_of(planned, today, minor_user_ids(group, today))
    own = plan.of(request.person.user_id)
    context: dict[str, Any] = {
        "plan": plan,
        "planned": planned,
        "own": own,
        "is_coming": planned.is_coming() and plan.outcome in ("draft", "coming", "open"),
        "may_plan": may_plan,
        "course": course_of(history_of(planned, group)),
        "swap_form": sent.get("swap") or (swap_form(own) if own else None),
    }
    if may_plan:
        context |= _coordinators_part(group, planned, sent)
    wrong = any(form.errors for form in sent.values())
    return render(request, "rota/planned_visit.html", context, status=422 if wrong else 200)


def _coordinators_part(group: Group, planned: PlannedVisit, sent: dict[str, forms.Form]) -> dict[str, Any]:
    return {
        "move_form": sent.get("move") or MoveForm(initial={"day": planned.day, "start": planned.start}),
        "people_form": sent.get("people") or _people_form(group, planned),
        "reason_form": sent.get("reason") or ReasonForm(),
    }


def _people_form(group: Group, planned: PlannedVisit, data: Any = None) -> ChoiceForm:
    """Members not down yet; each with what speaks against them, those against whom nothing does first."""
    down = {each.user_id for each in planned.assignments.all() if each.is_live or each.state == "proposed"}
    present = list(members_of(group))
    fits = {each.user_id: hindrance for each, hindrance in fits_of(planned, present)}
    names = {each.user_id: each.user.name for each in present if each.user_id not in down}
    ordered = sorted(names, key=lambda number: (fits.get(number, "silent") != "", names[number]))
    choices = [(str(each), f"{names[each]}: {fit_words(fits.get(each, 'silent'))}") for each in ordered]
    return ChoiceForm(data, label=gettext_lazy("Put somebody down"), name="user", choices=choices)


def swap_form(own: Assignment, data: Any = None) -> ChoiceForm:
    """Whose place to swap for."""
    choices = [
        (str(each.pk), f"{date_format(each.day, 'D j F')}, {each.planned.site}: {each.user.name}")
        for each in swap_choices(own)
    ]
    return ChoiceForm(data, label=gettext_lazy("Swap with"), name="yours", choices=choices)


@login_required
@require_POST
def visit_move(request: PortalRequest, slug: str, planned_id: UUID) -> HttpResponse:
    """Move it to another day or hour."""
    group = enter(request, slug, "rota.plan")
    planned, form = find_planned(group, planned_id), MoveForm(request.POST)
    if form.is_valid() and carried_out(
        form, lambda: move_visit(person=request.person, planned=planned, **form.cleaned_data)
    ):
        messages.success(request, _("The visit is moved."))
        return redirect("planned_visit", slug=slug, planned_id=planned_id)
    return _show(request, group, planned, move=form)


@login_required
@require_POST
def visit_person_add(request: PortalRequest, slug: str, planned_id: UUID) -> HttpResponse:
    """Put a member down."""
    group = enter(request, slug, "rota.plan")
    planned = find_planned(group, planned_id)
    form = _people_form(group, planned, request.POST)
    if form.is_valid():
        user = members_of(group).get(user=form.cleaned_data["user"]).user
        if carried_out(form, lambda: add_to_visit(person=request.person, planned=planned, user=user)):
            messages.success(request, _("%(name)s is down for it.") % {"name": user.name})
            return redirect("planned_visit", slug=slug, planned_id=planned_id)
    return _show(request, group, planned, people=form)


@login_required
@require_POST
def visit_call_off(request: PortalRequest, slug: str, planned_id: UUID) -> HttpResponse:
    """Call it off, or take it out of the draft."""
    group = enter(request, slug, "rota.plan")
    planned, form = find_planned(group, planned_id), ReasonForm(request.POST)
    was_draft = planned.is_draft
    if form.is_valid() and carried_out(
        form,
        lambda: call_off_visit(person=request.person, planned=planned, reason=form.cleaned_data["reason"]),
    ):
        messages.success(
            request, _("It is out of the draft.") if was_draft else _("It is called off; its people are told.")
        )
        return redirect("rota_draft" if was_draft else "rota_page", slug=slug)
    return _show(request, group, planned, reason=form)


@login_required
@require_POST
def visit_cover_ask(request: PortalRequest, slug: str, planned_id: UUID) -> HttpResponse:
    """Have everybody asked who can take the open places."""
    group = enter(request, slug, "rota.plan")
    planned = find_planned(group, planned_id)
    attempt(
        request,
        lambda: ask_for_cover(person=request.person, planned=planned),
        _("Everybody who can that day is asked by e-mail."),
    )
    return redirect("planned_visit", slug=slug, planned_id=planned_id)


@login_required
@require_POST
def place_take_off(request: PortalRequest, slug: str, place_id: UUID) -> HttpResponse:
    """Take somebody off."""
    group = enter(request, slug, "rota.plan")
    place = find_place(request, group, place_id, "rota.view")
    attempt(
        request,
        lambda: take_off(person=request.person, place=place),
        _("%(name)s is taken off.") % {"name": place.user.name},
    )
    return redirect("planned_visit", slug=slug, planned_id=place.planned_id)


@login_required
@require_POST
def place_accept(request: PortalRequest, slug: str, place_id: UUID) -> HttpResponse:
    """Say yes."""
    place = find_place(request, enter(request, slug, "rota.view"), place_id, "rota.answer")
    attempt(request, lambda: accept_place(person=request.person, place=place), _("Thank you, it is noted."))
    return redirect("planned_visit", slug=slug, planned_id=place.planned_id)


@login_required
@require_POST
def place_decline(request: PortalRequest, slug: str, place_id: UUID) -> HttpResponse:
    """Say that one cannot."""
    place = find_place(request, enter(request, slug, "rota.view"), place_id, "rota.answer")
    attempt(
        request,
        lambda: decline_place(person=request.person, place=place),
        _("Thank you for saying so. Others are asked."),
    )
    return redirect("planned_visit", slug=slug, planned_id=place.planned_id)


@login_required
@require_POST
def place_swap(request: PortalRequest, slug: str, place_id: UUID) -> HttpResponse:
    """Offer one's place for somebody else's."""
    group = enter(request, slug, "rota.view")
    place = find_place(request, group, place_id, "rota.answer")
    form = swap_form(place, request.POST)
    if form.is_valid():
        yours = get_object_or_404(
            Assignment.objects.of_group(group).select_related("planned"), pk=form.cleaned_data["yours"]
        )
        if carried_out(form, lambda: offer_swap(person=request.person, mine=place, yours=yours)):
            messages.success(request, _("They are asked by e-mail. Until they agree nothing changes."))
            return redirect("planned_visit", slug=slug, planned_id=place.planned_id)
    return _show(request, group, find_planned(group, place.planned_id), swap=form)


@login_required
@require_POST
def cover_take(request: PortalRequest, slug: str, offer_id: UUID) -> HttpResponse:
    """Take an open place that one was asked for."""
    group = enter(request, slug, "rota.view")
    rows = CoverOffer.objects.of_group(group).select_related("planned__site", "planned__group", "user")
    offer = get_object_or_404(rows, id=offer_id)
    require(request.person, "rota.answer", offer)
    attempt(
        request, lambda: take_cover(person=request.person, offer=offer), _("Thank you: the place is yours.")
    )
    return redirect("planned_visit", slug=slug, planned_id=offer.planned_id)
