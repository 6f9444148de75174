"""A coordinator's pages of enquiries: the list, and one with its next step."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, go_on
from surveys.people import terms
from surveys.people.forms.enquiries import AnswerForm, FirstVisitForm, OfferForm, ReasonForm
from surveys.people.models import Enquiry, EnquiryState
from surveys.people.queries import open_enquiries, settled_enquiries
from surveys.people.services import enquiries as services
from surveys.people.services.enquiries import FirstVisit
from surveys.services.errors import NotPossible

# What is to be done next in each state; the other steps stand below, folded.
NEXT = {
    EnquiryState.ASKED: "answer",
    EnquiryState.ANSWERED: "invite",
    EnquiryState.INVITED: "came",
    EnquiryState.CAME: "offer",
}


@login_required
@require_safe
@never_cache
def enquiry_list(request: PortalRequest, slug: str) -> HttpResponse:
    """Who waits for a step, who joined or was put off."""
    group = enter(request, slug, "enquiry.manage")
    context = {
        "enquiries": open_enquiries(group),
        "settled": settled_enquiries(group),
        "erased_days": terms.ERASED_AFTER.days,
    }
    return render(request, "people/enquiry_list.html", context)


def _find(group: Group, enquiry_id: UUID) -> Enquiry:
    rows = Enquiry.objects.of_group(group).exclude(state=EnquiryState.UNCONFIRMED)
    related = ("group", "first_site", "supervisor", "invitation", "taken_by", "membership__user")
    return get_object_or_404(rows.select_related(*related), id=enquiry_id)


@login_required
@require_safe
@never_cache
def enquiry_detail(request: PortalRequest, slug: str, enquiry_id: UUID) -> HttpResponse:
    """One enquiry: what they asked, its course, and the next step."""
    group = enter(request, slug, "enquiry.manage")
    return _page(request, _find(group, enquiry_id))


def _page(request: PortalRequest, enquiry: Enquiry, **bound: forms.Form) -> HttpResponse:
    """The page; a form with mistakes takes the place of the empty one of its step."""
    offered = enquiry.invitation is not None and enquiry.invitation.is_open
    following = next(iter(bound), "" if offered else NEXT.get(EnquiryState(enquiry.state), ""))
    others = [each for each in ("answer", "invite", "decline") if each != following]
    context: dict[str, Any] = {
        "enquiry": enquiry,
        "steps": enquiry.steps.all(),
        "next": following,
        "folded": others if enquiry.is_open else [],
        "offered": offered,
        "step_forms": _forms(enquiry) | bound,
        "erased_on": enquiry.changed_at + terms.ERASED_AFTER,
    }
    return render(request, "people/enquiry_detail.html", context, status=422 if bound else 200)


def _forms(enquiry: Enquiry) -> dict[str, forms.Form]:
    return {
        "answer": AnswerForm(),
        "invite": FirstVisitForm(group=enquiry.group),
        "offer": OfferForm(email=enquiry.email, is_minor=enquiry.is_minor),
        "decline": ReasonForm(),
    }


def _step(
    request: PortalRequest,
    slug: str,
    enquiry_id: UUID,
    name: str,
    make_form: Callable[[Enquiry], forms.Form],
    act: Callable[[Enquiry, Mapping[str, Any]], object],
    done: str,
) -> HttpResponse:
    """Do one step with its form; mistakes are shown on the enquiry's page."""
    group = enter(request, slug, "enquiry.manage")
    enquiry = _find(group, enquiry_id)
    form = make_form(enquiry)
    if form.is_valid():
        try:
            act(enquiry, form.cleaned_data)
        except NotPossible as reason:
            form.add_error(reason.field if reason.field in form.fields else None, reason.message)
        else:
            messages.success(request, done)
            return go_on(request, group, "enquiry_detail", slug=slug, enquiry_id=enquiry_id)
    return _page(request, _find(group, enquiry_id), **{name: form})


@login_required
@require_POST
def enquiry_answer(request: PortalRequest, slug: str, enquiry_id: UUID) -> HttpResponse:
    """Answer in one's own words."""
    return _step(
        request,
        slug,
        enquiry_id,
        "answer",
        lambda _enquiry: AnswerForm(request.POST),
        lambda enquiry, said: services.answer_enquiry(person=request.person, enquiry=enquiry, **said),
        _("Your answer is kept, and sent where there is an address."),
    )


@login_required
@require_POST
def enquiry_invite(request: PortalRequest, slug: str, enquiry_id: UUID) -> HttpResponse:
    """Invite to a first supervised visit."""
    return _step(
        request,
        slug,
        enquiry_id,
        "invite",
        lambda enquiry: FirstVisitForm(request.POST, group=enquiry.group),
        lambda enquiry, said: services.invite_to_visit(
            person=request.person, enquiry=enquiry, visit=FirstVisit(**said)
        ),
        _("The first visit is set; both are told."),
    )


@login_required
@require_POST
def enquiry_came(request: PortalRequest, slug: str, enquiry_id: UUID) -> HttpResponse:
    """They came along."""
    return _step(
        request,
        slug,
        enquiry_id,
        "came",
        lambda _enquiry: forms.Form(request.POST),
        lambda enquiry, _said: services.mark_came(person=request.person, enquiry=enquiry),
        _("Good: they came along. Now you can invite them to join."),
    )


@login_required
@require_POST
def enquiry_offer(request: PortalRequest, slug: str, enquiry_id: UUID) -> HttpResponse:
    """Invite to join."""
    return _step(
        request,
        slug,
        enquiry_id,
        "offer",
        lambda enquiry: OfferForm(request.POST, email=enquiry.email, is_minor=enquiry.is_minor),
        lambda enquiry, said: services.offer_membership(person=request.person, enquiry=enquiry, **said),
        _("The invitation to join is on its way."),
    )


@login_required
@require_POST
def enquiry_decline(request: PortalRequest, slug: str, enquiry_id: UUID) -> HttpResponse:
    """Put it off."""
    return _step(
        request,
        slug,
        enquiry_id,
        "decline",
        lambda _enquiry: ReasonForm(request.POST),
        lambda enquiry, said: services.decline_enquiry(person=request.person, enquiry=enquiry, **said),
        _("Put off. It is erased by itself when nothing more comes of it."),
    )


@login_required
@require_POST
def enquiry_reopen(request: PortalRequest, slug: str, enquiry_id: UUID) -> HttpResponse:
    """Take it up again."""
    return _step(
        request,
        slug,
        enquiry_id,
        "reopen",
        lambda _enquiry: forms.Form(request.POST),
        lambda enquiry, _said: services.reopen_enquiry(person=request.person, enquiry=enquiry),
        _("It waits for an answer again."),
    )
