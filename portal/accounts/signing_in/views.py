"""Pages about signing in that the library does not have, or has otherwise."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from allauth.account.views import EmailView
from allauth.mfa.models import Authenticator
from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from portal.accounts.access import require
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import AddressChange, User
from portal.accounts.pages import enter, posted
from portal.accounts.queries import people_of
from portal.accounts.signed_links import by_link
from portal.accounts.signing_in import address_changes, losing, second_factor
from portal.accounts.signing_in.sessions import end_sessions, sessions_of
from portal.accounts.signing_in.shown_again import shown_again


class ReasonForm(forms.Form):
    """How somebody knows that it is really the person who asks."""

    reason = forms.CharField(
        label=gettext_lazy("How do you know that it is them who ask?"),
        max_length=300,
        help_text=gettext_lazy(
            "Such as: met them, or rang the number we have. It is kept in the group's trail."
        ),
    )


def _user(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user


@login_required
@require_safe
def second_factor_page(request: PortalRequest) -> HttpResponse:
    """What one signs in with, and what is missing."""
    user, onward = _user(request), request.GET.get("next", "")
    kinds = set(Authenticator.objects.filter(user=user).values_list("type", flat=True))
    is_safe = url_has_allowed_host_and_scheme(onward, {request.get_host()}, require_https=request.is_secure())
    context = {
        "is_asked": second_factor.is_asked_of(request.person),
        "is_proven": second_factor.is_proven(request),
        "kinds": kinds,
        "has_factor": bool(kinds & set(second_factor.FACTORS)),
        "onward": onward if is_safe else "",
    }
    return render(request, "accounts/second_factor.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def session_list(request: PortalRequest) -> HttpResponse:
    """Where one is signed in, and ending any of it but this session."""
    user, own_key = _user(request), request.session.session_key
    if request.method != "POST":
        return render(request, "accounts/session_list.html", {"sessions": sessions_of(user, own_key)})
    number = request.POST.get("session", "")
    only = int(number) if number.isascii() and number.isdigit() and len(number) < 19 else None
    if only is None and "others" not in request.POST:
        messages.error(request, _("Choose a session that is still in the list."))
        return redirect("session_list")
    ended = end_sessions(user, but=own_key, only=only)
    messages.success(request, ngettext("%d session is ended.", "%d sessions are ended.", ended) % ended)
    return redirect("session_list")


class OwnAddressesView(EmailView):  # type: ignore[misc]
    """The library's page of one's addresses, but none becomes the main one unconfirmed."""

    def _action_primary(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse | None:
        address = self._get_email_address(request)
        if address and not address.verified:
            messages.error(request, _("Only an address that is confirmed can be the main one."))
            return None
        answer: HttpResponse | None = super()._action_primary(request, *args, **kwargs)
        return answer


account_email = login_required(OwnAddressesView.as_view())


@require_http_methods(["GET", "HEAD", "POST"])
@by_link(address_changes.change_of, "accounts/address_gone.html")
def address_agree(request: HttpRequest, change: AddressChange) -> HttpResponse:
    """The account's present address says whether a further one may be added; looking decides nothing."""
    if request.method != "POST":
        return render(request, "accounts/address_agree.html", {"change": change})
    if request.POST.get("answer") != "yes":
        address_changes.stop_address(change)
        return render(request, "accounts/address_decided.html", {"change": change, "is_stopped": True})
    counts = address_changes.agree_to_address(change)
    return render(request, "accounts/address_decided.html", {"change": change, "counts": counts})


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def factor_reset(request: PortalRequest, slug: str, membership_id: UUID) -> HttpResponse:
    """Help a member who has lost their second factor back in."""
    group = enter(request, slug, "people.manage")
    membership = get_object_or_404(people_of(group), id=membership_id)
    require(request.person, "factor.reset", membership)
    form = ReasonForm(posted(request))
    if request.method == "POST" and form.is_valid():
        return _reset_factor(request, membership, form)
    context = {"membership": membership, "form": form}
    return render(request, "accounts/factor_reset.html", context, status=422 if form.errors else 200)


@shown_again(app="allauth.account")
def _reset_factor(request: PortalRequest, membership: Any, form: ReasonForm) -> HttpResponse:
    try:
        losing.reset_member_factor(person=request.person, membership=membership, **form.cleaned_data)
    except ValidationError as problem:
        form.add_error(None, problem)
        return render(
            request, "accounts/factor_reset.html", {"membership": membership, "form": form}, status=422
        )
    messages.success(request, _("Done. %s gets an e-mail that says how to sign in again.") % membership.user)
    return redirect("membership_change", slug=membership.group.slug, membership_id=membership.id)
