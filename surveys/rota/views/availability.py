"""Members say when they can go."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from portal.accounts.access import allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, posted
from portal.accounts.walls import wide
from surveys.models import Site
from surveys.rota.forms import AvailabilityForm, NamedDaysForm
from surveys.rota.links import feed_url
from surveys.rota.models import Availability, CalendarFeed, NamedDays
from surveys.rota.queries import availability_of
from surveys.rota.services.availability import add_named_days, remove_named_days, save_availability
from surveys.rota.views.shared import carried_out


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def availability_edit(request: PortalRequest, slug: str) -> HttpResponse:
    """When I can, how far I go, how often, and the address of my calendar."""
    group = enter(request, slug, "rota.view")
    own = availability_of(request.person, group)
    form = _form(request, group, own)
    if request.method == "POST" and form.is_valid() and _saved(request, group, form):
        messages.success(request, _("Saved. You are asked before anything is settled."))
        return redirect("availability_edit", slug=slug)
    return _show(request, group, own, form, NamedDaysForm())


def _form(request: PortalRequest, group: Group, own: Availability | None) -> AvailabilityForm:
    sites = Site.objects.of_group(group).filter(closed_on=None)
    return AvailabilityForm(posted(request), instance=own or Availability(group=group), sites=sites)


def _saved(request: PortalRequest, group: Group, form: AvailabilityForm) -> bool:
    sites = form.cleaned_data["near_sites"]
    try:
        save_availability(person=request.person, group=group, fields=form.facts(), near_sites=sites)
    except ValidationError as refusal:
        form.add_error(None, refusal)
        return False
    return True


def _show(
    request: PortalRequest,
    group: Group,
    own: Availability | None,
    form: AvailabilityForm,
    days_form: NamedDaysForm,
) -> HttpResponse:
    with wide("a person's own calendar is of no group"):
        feed = CalendarFeed.objects.across_groups("it runs over all their groups")
        found = feed.filter(user=request.person.user_id, revoked_at=None).first()
    group_feed = CalendarFeed.objects.of_group(group).filter(revoked_at=None).first()
    today = timezone.localdate()
    context = {
        "form": form,
        "days_form": days_form,
        "has_said": own is not None,
        "days": [each for each in own.named_days.all() if each.last_day >= today] if own else [],
        "feed_url": feed_url(found) if found else "",
        "group_feed_url": feed_url(group_feed) if group_feed else "",
        "may_plan": allowed(request.person, "rota.plan", group),
    }
    wrong = form.errors or days_form.errors
    return render(request, "rota/availability_edit.html", context, status=422 if wrong else 200)


@login_required
@require_POST
def named_days_add(request: PortalRequest, slug: str) -> HttpResponse:
    """Add days on which I can, or am away."""
    group = enter(request, slug, "rota.view")
    form = NamedDaysForm(request.POST)
    if form.is_valid():
        first, last = form.span()
        facts = {"kind": form.cleaned_data["kind"], "first_day": first, "last_day": last}
        if carried_out(form, lambda: add_named_days(person=request.person, group=group, **facts)):
            messages.success(request, _("The days are added."))
            return redirect("availability_edit", slug=slug)
    own = availability_of(request.person, group)
    sites = Site.objects.of_group(group).filter(closed_on=None)
    whole = AvailabilityForm(instance=own or Availability(group=group), sites=sites)
    return _show(request, group, own, whole, form)


@login_required
@require_POST
def named_days_remove(request: PortalRequest, slug: str, days_id: UUID) -> HttpResponse:
    """Take days off again; somebody else's are none of one's business, and so are not found."""
    group = enter(request, slug, "rota.view")
    rows = NamedDays.objects.of_group(group).filter(availability__user=request.person.user_id)
    days = get_object_or_404(rows.select_related("availability__group"), id=days_id)
    remove_named_days(person=request.person, days=days)
    messages.success(request, _("The days are taken off."))
    return redirect("availability_edit", slug=slug)
