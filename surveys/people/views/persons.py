"""A coordinator's pages of a person: record, guardian, ending a membership and asking somebody back."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group, Membership
from portal.accounts.pages import enter, posted
from surveys.errors import NotPossible
from surveys.people.forms.enquiries import ReasonForm
from surveys.people.forms.records import BackForm, GuardianForm
from surveys.people.hours import hours_given
from surveys.people.models import Minor
from surveys.people.queries import former_members, record_of
from surveys.people.services import records
from surveys.people.services.records import Guardian


def find_membership(group: Group, membership_id: UUID) -> Membership:
    """A membership of the group, present or past."""
    rows = Membership.objects.of_group(group).select_related("user", "group")
    return get_object_or_404(rows, id=membership_id)


@login_required
@require_safe
@never_cache
def person_detail(request: PortalRequest, slug: str, membership_id: UUID) -> HttpResponse:
    """What the group keeps of a person; their emergency contact is not shown here."""
    group = enter(request, slug, "people.manage")
    membership = find_membership(group, membership_id)
    context = {
        "record": record_of(membership, timezone.localdate()),
        "back_form": BackForm() if membership.left_at else None,
    }
    return render(request, "people/person_detail.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def guardian_edit(request: PortalRequest, slug: str, membership_id: UUID) -> HttpResponse:
    """Flag a member as under 18, with a guardian's contact."""
    group = enter(request, slug, "people.manage")
    membership = find_membership(group, membership_id)
    kept = Minor.objects.of_group(group).filter(membership=membership).first()
    form = GuardianForm(posted(request), initial=_kept(kept))
    if request.method == "POST" and form.is_valid():
        try:
            guardian = Guardian(**form.cleaned_data)
            records.set_guardian(person=request.person, membership=membership, guardian=guardian)
        except NotPossible as reason:
            form.add_error(reason.field or None, reason.message)
        else:
            messages.success(request, _("Kept: they never go out without an adult."))
            return redirect("person_detail", slug=slug, membership_id=membership_id)
    context = {"form": form, "membership": membership, "is_kept": kept is not None}
    return render(request, "people/guardian_edit.html", context, status=422 if form.errors else 200)


def _kept(minor: Minor | None) -> dict[str, object]:
    names = ("until", "guardian_name", "guardian_phone", "guardian_email")
    return {name: getattr(minor, name) for name in names} if minor else {}


@login_required
@require_POST
def guardian_clear(request: PortalRequest, slug: str, membership_id: UUID) -> HttpResponse:
    """The flag was a mistake."""
    group = enter(request, slug, "people.manage")
    records.clear_guardian(person=request.person, membership=find_membership(group, membership_id))
    messages.success(request, _("The flag and the guardian's contact are erased."))
    return redirect("person_detail", slug=slug, membership_id=membership_id)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def membership_end(request: PortalRequest, slug: str, membership_id: UUID) -> HttpResponse:
    """End a membership, with the reason."""
    group = enter(request, slug, "people.manage")
    membership = find_membership(group, membership_id)
    form = ReasonForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            records.end_for_reason(person=request.person, membership=membership, **form.cleaned_data)
        except NotPossible as reason:
            form.add_error(reason.field or None, reason.message)
        else:
            messages.success(request, _("%s is no longer a member.") % membership.user)
            return redirect("former_list", slug=slug) if not _is_own(request, membership) else redirect("home")
    context = {"form": form, "membership": membership}
    return render(request, "people/membership_end.html", context, status=422 if form.errors else 200)


def _is_own(request: PortalRequest, membership: Membership) -> bool:
    return membership.user_id == request.person.user_id


@login_required
@require_safe
def former_list(request: PortalRequest, slug: str) -> HttpResponse:
    """Who left, and may be asked back."""
    group = enter(request, slug, "people.manage")
    return render(request, "people/former_list.html", {"former": former_members(group)})


@login_required
@require_POST
def membership_back(request: PortalRequest, slug: str, membership_id: UUID) -> HttpResponse:
    """Invite somebody who left to come back."""
    group = enter(request, slug, "people.manage")
    membership = find_membership(group, membership_id)
    form = BackForm(request.POST)
    if form.is_valid():
        try:
            records.ask_back(person=request.person, membership=membership, **form.cleaned_data)
        except NotPossible as reason:
            form.add_error(None, reason.message)
        except ValidationError as problem:
            form.add_error(None, " ".join(problem.messages))
        else:
            messages.success(request, _("The invitation is on its way to %s.") % membership.user.email)
            return redirect("person_detail", slug=slug, membership_id=membership_id)
    context = {"record": record_of(membership, timezone.localdate()), "back_form": form}
    return render(request, "people/person_detail.html", context, status=422)


@login_required
@require_safe
def hours_list(request: PortalRequest, slug: str) -> HttpResponse:
    """Hours given, year by year."""
    group = enter(request, slug, "people.view")
    this_year = timezone.localdate().year
    years = [hours_given(group, year) for year in range(this_year, this_year - 4, -1)]
    return render(request, "people/hours_list.html", {"years": years})
