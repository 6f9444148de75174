"""Asking to have a go: the public page, the links in e-mails, and what a member writes down at the bank."""

from __future__ import annotations

from allauth.account.adapter import get_adapter
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts.access import allowed
from portal.accounts.languages import speak_as_group
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, posted
from portal.accounts.queries import public_groups
from portal.accounts.signed_links import by_link, token_of
from portal.accounts.walls import admit
from surveys.errors import NotPossible
from surveys.people import terms
from surveys.people.forms.enquiries import EnquiryForm, PublicEnquiryForm
from surveys.people.links import ENQUIRY_LINK, enquiry_behind
from surveys.people.models import Enquiry, EnquiryState
from surveys.people.services.asking import (
    TooMany,
    ask_to_join,
    count_attempt,
    erase_enquiry,
)
from surveys.people.services.opening import confirm_enquiry, write_enquiry

PERIODS = {"erased_days": terms.ERASED_AFTER.days, "unconfirmed_days": terms.UNCONFIRMED_KEPT.days}


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def enquiry_ask(request: HttpRequest, slug: str) -> HttpResponse:
    """Anybody asks to have a go; the answer is the same whatever is known of the address."""
    group = get_object_or_404(public_groups(), slug=slug)
    admit(group.pk)
    speak_as_group(request, group)
    form = PublicEnquiryForm(posted(request))
    status = 200
    if request.method == "POST":
        status = _take(request, group, form)
        if status == 200:
            return render(request, "people/enquiry_asked.html", {"group": group, **PERIODS})
    return render(request, "people/enquiry_ask.html", {"group": group, "form": form, **PERIODS}, status=status)


def _take(request: HttpRequest, group: Group, form: PublicEnquiryForm) -> int:
    """Take the form; the status to answer with: 200 taken, 422 with mistakes, 429 too often."""
    if form.is_by_a_program:
        return 200
    try:
        count_attempt(group, get_adapter().get_client_ip(request))
    except TooMany:
        form.add_error(
            None,
            _(
                "This form has been sent many times within the hour. What you wrote stands here still: "
                "please send it again in an hour."
            ),
        )
        return 429
    if not form.is_valid():
        return 422
    ask_to_join(group=group, asked=form.asked())
    return 200


@require_safe
@never_cache
@by_link(enquiry_behind, "people/enquiry_gone.html")
def enquiry_link(request: HttpRequest, enquiry: Enquiry) -> HttpResponse:
    """What is kept of whoever asked; the rest needs a press, so that a mail scanner does nothing."""
    context = {
        "enquiry": enquiry,
        "group": enquiry.group,
        "token": token_of(request),
        "unconfirmed": enquiry.state == EnquiryState.UNCONFIRMED,
        **PERIODS,
    }
    return render(request, "people/enquiry_link.html", context)


@require_POST
@by_link(enquiry_behind, "people/enquiry_gone.html")
def enquiry_confirm(request: HttpRequest, enquiry: Enquiry) -> HttpResponse:
    """Whoever reads the mailbox did ask."""
    kept = confirm_enquiry(enquiry=enquiry)
    if kept.pk == enquiry.pk:
        messages.success(request, _("Thank you: the coordinators have your enquiry now."))
    else:
        messages.success(request, _("Thank you. You had asked before: what you wrote now is kept with it."))
    return redirect("enquiry_link", token=ENQUIRY_LINK.make(kept.pk))


@require_POST
@by_link(enquiry_behind, "people/enquiry_gone.html")
def enquiry_erase(request: HttpRequest, enquiry: Enquiry) -> HttpResponse:
    """Whoever asked wants to be forgotten."""
    erase_enquiry(enquiry=enquiry)
    return render(request, "people/enquiry_erased.html")


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def enquiry_write(request: PortalRequest, slug: str) -> HttpResponse:
    """A member writes down somebody who asked at the bank."""
    group = enter(request, slug, "enquiry.write")
    form = EnquiryForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            made = write_enquiry(person=request.person, group=group, asked=form.asked())
        except NotPossible as reason:
            form.add_error(reason.field or None, reason.message)
        else:
            messages.success(request, _("Written down; a coordinator answers them."))
            if allowed(request.person, "enquiry.manage", group):
                return redirect("enquiry_detail", slug=slug, enquiry_id=made.pk)
            return redirect("group_desk", slug=slug)
    context = {"form": form, **PERIODS}
    return render(request, "people/enquiry_write.html", context, status=422 if form.errors else 200)
