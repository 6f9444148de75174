"""Pages about when contacts are at work, waiting times, holidays and quiet."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from alerts.contacts.working_time import policy_of
from alerts.forms import AbsenceForm, HolidayForm, HoursForm, PolicyForm, QuietForm
from alerts.models import AgencyContact, ContactAbsence, Holiday, QuietPeriod
from alerts.queries import quiet_now
from alerts.services.policies import (
    add_absence,
    add_holiday,
    remove_absence,
    remove_holiday,
    set_hours,
    set_policy,
)
from alerts.services.quiet import begin_quiet, end_quiet
from alerts.views.shared import find_site, try_service
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, posted

READ_OR_SEND = ["GET", "HEAD", "POST"]


@login_required
@require_http_methods(READ_OR_SEND)
def alert_policy(request: PortalRequest, slug: str) -> HttpResponse:
    """Waiting times of the whole group, and the days on which agencies do not work."""
    group = enter(request, slug, "contact.manage")
    form = PolicyForm(posted(request), instance=policy_of(group))
    if form.is_valid():
        set_policy(person=request.person, group=group, fields=form.cleaned_data)
        messages.success(request, _("The waiting times are saved."))
        return redirect("alert_policy", slug=slug)
    return _show_policy(request, group, form, HolidayForm())


@login_required
@require_POST
def holiday_add(request: PortalRequest, slug: str) -> HttpResponse:
    """One more day on which agencies do not work."""
    group = enter(request, slug, "contact.manage")
    form = HolidayForm(request.POST)
    if form.is_valid() and try_service(
        form, lambda: add_holiday(person=request.person, group=group, **form.cleaned_data)
    ):
        return redirect("alert_policy", slug=slug)
    return _show_policy(request, group, PolicyForm(instance=policy_of(group)), form)


def _show_policy(
    request: PortalRequest, group: Group, form: PolicyForm, holiday_form: HolidayForm
) -> HttpResponse:
    context = {
        "group": group,
        "form": form,
        "holiday_form": holiday_form,
        "holidays": Holiday.objects.of_group(group),
    }
    status = 422 if form.errors or holiday_form.errors else 200
    return render(request, "alerts/alert_policy.html", context, status=status)


@login_required
@require_POST
def holiday_remove(request: PortalRequest, slug: str, holiday_id: UUID) -> HttpResponse:
    """Take a day off the list."""
    group = enter(request, slug, "contact.manage")
    holiday = get_object_or_404(Holiday.objects.of_group(group), id=holiday_id)
    remove_holiday(person=request.person, holiday=holiday)
    return redirect("alert_policy", slug=slug)


@login_required
@require_http_methods(READ_OR_SEND)
def contact_hours(request: PortalRequest, slug: str, contact_id: UUID) -> HttpResponse:
    """When a contact is at work, and when away."""
    group = enter(request, slug, "contact.manage")
    contact = _find_contact(group, contact_id)
    form = _hours_form(request, contact)
    if form.is_valid():
        set_hours(person=request.person, contact=contact, hours=form.hours())
        messages.success(request, _("The working hours are saved."))
        return redirect("contact_hours", slug=slug, contact_id=contact_id)
    return _show_hours(request, contact, form, AbsenceForm())


def _find_contact(group: Group, contact_id: UUID) -> AgencyContact:
    rows = AgencyContact.objects.of_group(group).prefetch_related("hours", "absences")
    return get_object_or_404(rows.select_related("group"), id=contact_id)


def _hours_form(request: PortalRequest | None, contact: AgencyContact) -> HoursForm:
    hours = {each.weekday: (each.opens, each.closes) for each in contact.hours.all()}
    return HoursForm(posted(request) if request else None, hours=hours)


def _show_hours(
    request: PortalRequest, contact: AgencyContact, form: HoursForm, absence_form: AbsenceForm
) -> HttpResponse:
    context = {"group": contact.group, "contact": contact, "form": form, "absence_form": absence_form}
    status = 422 if form.errors or absence_form.errors else 200
    return render(request, "alerts/contact_hours.html", context, status=status)


@login_required
@require_POST
def absence_add(request: PortalRequest, slug: str, contact_id: UUID) -> HttpResponse:
    """Days on which a contact is away."""
    group = enter(request, slug, "contact.manage")
    contact = _find_contact(group, contact_id)
    form = AbsenceForm(request.POST)
    if form.is_valid() and try_service(
        form, lambda: add_absence(person=request.person, contact=contact, **form.cleaned_data)
    ):
        return redirect("contact_hours", slug=slug, contact_id=contact_id)
    return _show_hours(request, contact, _hours_form(None, contact), form)


@login_required
@require_POST
def absence_remove(request: PortalRequest, slug: str, contact_id: UUID, absence_id: UUID) -> HttpResponse:
    """Back earlier than thought."""
    group = enter(request, slug, "contact.manage")
    rows = ContactAbsence.objects.of_group(group).filter(contact_id=contact_id)
    absence = get_object_or_404(rows.select_related("contact"), id=absence_id)
    remove_absence(person=request.person, absence=absence)
    return redirect("contact_hours", slug=slug, contact_id=contact_id)


@login_required
@require_http_methods(READ_OR_SEND)
def quiet_set(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """Tell no agency of a site for a while."""
    group = enter(request, slug, "trigger.set")
    site = find_site(group, site_id)
    form = QuietForm(posted(request))
    if form.is_valid() and try_service(
        form, lambda: begin_quiet(person=request.person, site=site, **form.cleaned_data)
    ):
        messages.success(request, _("The site is quiet. Coordinators still hear of low scores."))
        return redirect("site_detail", slug=slug, site_id=site_id)
    context = {
        "site": site,
        "form": form,
        "quiet": quiet_now(site),
        "earlier": QuietPeriod.objects.of_group(group).filter(site=site).select_related("set_by"),
    }
    return render(request, "alerts/quiet_set.html", context, status=422 if form.errors else 200)


@login_required
@require_POST
def quiet_end(request: PortalRequest, slug: str, site_id: UUID, quiet_id: UUID) -> HttpResponse:
    """End it before its time."""
    group = enter(request, slug, "trigger.set")
    rows = QuietPeriod.objects.of_group(group).filter(site_id=site_id)
    end_quiet(person=request.person, quiet=get_object_or_404(rows, id=quiet_id))
    messages.success(request, _("It has ended. Alerts that were held are sent within a minute."))
    return redirect("site_detail", slug=slug, site_id=site_id)
