"""A coordinator's pages of enquiries: the list, and one with its next step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from portal.accounts.access import Person
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, go_on
from surveys.errors import NotPossible
from surveys.people import terms
from surveys.people.forms.enquiries import AnswerForm, FirstVisitForm, OfferForm, ReasonForm
from surveys.people.models import Enquiry, EnquiryState
from surveys.people.queries import open_enquiries, settled_enquiries
from surveys.people.services import enquiries as services
from surveys.people.services.enquiries import FirstVisit

ENQUIRIES_PER_PAGE = 50
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
        "page": Paginator(open_enquiries(group), ENQUIRIES_PER_PAGE).get_page(request.GET.get("page")),
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
        "offer": _offer_form(enquiry),
        "decline": ReasonForm(),
    }


Act = Callable[..., Enquiry]


@dataclass(frozen=True)
class Step:
    """One step: its name, the form that it takes, what does it, and what is said when it is done."""

    name: str
    make_form: Callable[[Enquiry, QueryDict], forms.Form]
    act: Act
    done: Promise


def _view(step: Step) -> Callable[..., HttpResponse]:
    """The address of a step; mistakes are shown on the enquiry's page, and nothing typed is lost."""

    def take(request: PortalRequest, slug: str, enquiry_id: UUID) -> HttpResponse:
        group = enter(request, slug, "enquiry.manage")
        enquiry = _find(group, enquiry_id)
        form = step.make_form(enquiry, request.POST)
        kept = _taken(step, request.person, enquiry, form) if form.is_valid() else None
        if kept is None:
            return _page(request, _find(group, enquiry_id), **{step.name: form})
        messages.success(request, str(step.done))
        return go_on(request, group, "enquiry_detail", slug=slug, enquiry_id=kept.pk)

    take.__name__ = take.__qualname__ = f"enquiry_{step.name}"
    return login_required(require_POST(take))


def _taken(step: Step, person: Person, enquiry: Enquiry, form: forms.Form) -> Enquiry | None:
    """The enquiry after the step, which may be an earlier one of the same person; None where it was refused."""
    try:
        return step.act(person=person, enquiry=enquiry, **form.cleaned_data)
    except NotPossible as reason:
        form.add_error(reason.field if reason.field in form.fields else None, reason.message)
        return None


def _invite(*, person: Person, enquiry: Enquiry, **said: Any) -> Enquiry:
    return services.invite_to_visit(person=person, enquiry=enquiry, visit=FirstVisit(**said))


def _offer_form(enquiry: Enquiry, data: QueryDict | None = None) -> OfferForm:
    return OfferForm(data, email=enquiry.email, is_minor=enquiry.is_minor, minor_until=enquiry.minor_until)


enquiry_answer = _view(
    Step(
        "answer",
        lambda _enquiry, data: AnswerForm(data),
        services.answer_enquiry,
        gettext_lazy("Your answer is kept, and sent where there is an address."),
    )
)
enquiry_invite = _view(
    Step(
        "invite",
        lambda enquiry, data: FirstVisitForm(data, group=enquiry.group),
        _invite,
        gettext_lazy("The first visit is set; both are told."),
    )
)
enquiry_came = _view(
    Step(
        "came",
        lambda _enquiry, data: forms.Form(data),
        services.mark_came,
        gettext_lazy("Good: they came along. Now you can invite them to join."),
    )
)
enquiry_offer = _view(
    Step("offer", _offer_form, services.offer_membership, gettext_lazy("The invitation to join is on its way."))
)
enquiry_decline = _view(
    Step(
        "decline",
        lambda _enquiry, data: ReasonForm(data),
        services.decline_enquiry,
        gettext_lazy("Put off. It is erased by itself when nothing more comes of it."),
    )
)
enquiry_reopen = _view(
    Step(
        "reopen",
        lambda _enquiry, data: forms.Form(data),
        services.reopen_enquiry,
        gettext_lazy("It waits for an answer again."),
    )
)
