"""The group's rules of going out, and what is known of the level of its rivers."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts.access import allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, posted
from surveys.errors import NotPossible
from surveys.forms.outings import OutingRulesForm, RiverForm
from surveys.outings.rivers import river_at
from surveys.outings.rules import checklist_of, rules_of
from surveys.services.outings import edit_outing_rules
from surveys.services.rivers import lift_river_report, report_river
from surveys.views.shared import find_site


@login_required
@require_safe
def outing_rules(request: PortalRequest, slug: str) -> HttpResponse:
    """The checklist, and the times of a safe return."""
    group = enter(request, slug, "group.view")
    rules = rules_of(group)
    context = {
        "rules": rules,
        "checklist": checklist_of(rules),
        "may_edit": allowed(request.person, "outing.edit", group),
    }
    return render(request, "surveys/outing_rules.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def outing_rules_edit(request: PortalRequest, slug: str) -> HttpResponse:
    """Change the checklist and the times."""
    group = enter(request, slug, "outing.edit")
    form = OutingRulesForm(posted(request), instance=rules_of(group))
    if request.method == "POST" and form.is_valid():
        edit_outing_rules(person=request.person, group=group, fields=form.cleaned_data)
        messages.success(request, _("The rules of going out are kept."))
        return redirect("outing_rules", slug=slug)
    return render(request, "surveys/outing_rules_edit.html", {"form": form}, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def river_report(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """Say how high the river is at a site."""
    group = enter(request, slug, "river.report")
    site = find_site(group, site_id)
    form = RiverForm(posted(request), site=site)
    if request.method == "POST" and form.is_valid():
        try:
            report_river(person=request.person, site=site, **form.facts())
        except NotPossible as reason:
            form.add_error(reason.field if reason.field in form.fields else None, reason.message)
        else:
            messages.success(request, _("Thank you: the others see it at once."))
            return redirect("site_detail", slug=slug, site_id=site.pk)
    context = {"form": form, "site": site, "river": river_at(site)}
    return render(request, "surveys/river_report.html", context, status=422 if form.errors else 200)


@login_required
@require_POST
def river_lift(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """Say that the river is no longer too high."""
    group = enter(request, slug, "river.report")
    site = find_site(group, site_id)
    try:
        lift_river_report(person=request.person, site=site)
    except NotPossible as reason:
        messages.error(request, reason.message)
    else:
        messages.success(
            request, _("The river no longer counts as too high here. Look at it before you go in.")
        )
    return redirect("site_detail", slug=slug, site_id=site.pk)
