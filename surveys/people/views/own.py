"""A member's own page: what the group keeps of me, and what I may change myself."""

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
from portal.accounts.models import Membership
from portal.accounts.pages import enter, posted
from portal.accounts.services import choose_naming
from surveys.errors import Conflict, NotPossible
from surveys.people.forms.records import EmergencyForm, HoursForm, LeavingForm
from surveys.people.models import EmergencyContact, OtherHours
from surveys.people.queries import record_of
from surveys.people.services import records
from surveys.people.services.emergency import looks_at

LOOKS_SHOWN = 20


def own_membership(request: PortalRequest, slug: str) -> Membership:
    """One's own membership of the group at this address."""
    group = enter(request, slug, "desk.view")
    rows = Membership.objects.of_group(group).select_related("user", "group")
    return get_object_or_404(rows, user_id=request.person.user_id, left_at=None)


@login_required
@require_safe
@never_cache
def own_record(request: PortalRequest, slug: str) -> HttpResponse:
    """Everything the group keeps of the person who reads it."""
    membership = own_membership(request, slug)
    context = {
        "record": record_of(membership, timezone.localdate()),
        "contact": EmergencyContact.objects.of_group(membership.group).filter(membership=membership).first(),
        "looks": looks_at(membership)[:LOOKS_SHOWN],
    }
    return render(request, "people/own_record.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def emergency_edit(request: PortalRequest, slug: str) -> HttpResponse:
    """Whom to ring if something happens to me."""
    membership = own_membership(request, slug)
    kept = EmergencyContact.objects.of_group(membership.group).filter(membership=membership).first()
    form = EmergencyForm(posted(request), initial=_kept(kept))
    if request.method == "POST" and form.is_valid():
        try:
            records.set_emergency_contact(person=request.person, membership=membership, **form.cleaned_data)
        except NotPossible as reason:
            form.add_error(reason.field, reason.message)
        else:
            messages.success(request, _("Your emergency contact is kept."))
            return redirect("own_record", slug=slug)
    context = {"form": form, "is_kept": kept is not None}
    return render(request, "people/emergency_edit.html", context, status=422 if form.errors else 200)


def _kept(contact: EmergencyContact | None) -> dict[str, str]:
    return {name: getattr(contact, name) for name in ("name", "phone", "relation")} if contact else {}


@login_required
@require_POST
def emergency_erase(request: PortalRequest, slug: str) -> HttpResponse:
    """Keep it no longer."""
    records.erase_emergency_contact(person=request.person, membership=own_membership(request, slug))
    messages.success(request, _("Your emergency contact is erased."))
    return redirect("own_record", slug=slug)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def hours_add(request: PortalRequest, slug: str) -> HttpResponse:
    """Write down hours given beside visits."""
    membership = own_membership(request, slug)
    form = HoursForm(posted(request), today=timezone.localdate())
    if request.method == "POST" and form.is_valid():
        try:
            records.add_hours(person=request.person, membership=membership, **form.cleaned_data)
        except NotPossible as reason:
            form.add_error(reason.field or None, reason.message)
        except Conflict:
            form.add_error(None, _("This form was used before. Open it anew."))
        else:
            messages.success(request, _("Your hours are kept. Thank you."))
            return redirect("hours_add", slug=slug)
    entries = OtherHours.objects.of_group(membership.group).filter(membership=membership)[:50]
    context = {"form": form, "entries": entries}
    return render(request, "people/hours_add.html", context, status=422 if form.errors else 200)


@login_required
@require_POST
def hours_remove(request: PortalRequest, slug: str, hours_id: UUID) -> HttpResponse:
    """Take back an entry of one's own."""
    membership = own_membership(request, slug)
    rows = OtherHours.objects.of_group(membership.group).select_related("membership")
    records.remove_hours(
        person=request.person, entry=get_object_or_404(rows, pk=hours_id, membership=membership)
    )
    messages.success(request, _("The entry is taken back."))
    return redirect("hours_add", slug=slug)


@login_required
@require_POST
def naming_choose(request: PortalRequest, slug: str) -> HttpResponse:
    """Whether one's own name may be printed among those thanked."""
    membership = own_membership(request, slug)
    show_name = request.POST.get("show_name") == "on"
    try:
        choose_naming(person=request.person, membership=membership, show_name=show_name)
    except ValidationError as problem:
        messages.error(request, " ".join(problem.messages))
    else:
        messages.success(request, _("Your choice is kept."))
    return redirect("own_record", slug=slug)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def membership_leave(request: PortalRequest, slug: str) -> HttpResponse:
    """Leave the group, knowing what stays and what goes."""
    membership = own_membership(request, slug)
    form = LeavingForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            records.leave_group(
                person=request.person, membership=membership, reason=form.cleaned_data["reason"]
            )
        except NotPossible as reason:
            form.add_error(None, reason.message)
        else:
            messages.success(request, _("You have left %(group)s. Thank you.") % {"group": membership.group})
            return redirect("home")
    return render(request, "people/membership_leave.html", {"form": form}, status=422 if form.errors else 200)
