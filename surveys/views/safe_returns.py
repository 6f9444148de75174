"""Safe returns: started, followed, given more time and ended by members."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.accounts.access import allowed, require
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, posted
from portal.accounts.queries import members_of
from surveys.errors import Conflict, NotPossible
from surveys.forms.returns import SafeReturnForm
from surveys.models import SafeReturn, Site
from surveys.models.returns import Step
from surveys.outings.returns import ended_returns, live_returns, minutes_late
from surveys.outings.rivers import river_at
from surveys.outings.rules import rules_of
from surveys.places.sites import place_of
from surveys.services.safe_returns import end_safe_return, extend_safe_return, start_safe_return
from surveys.views.shared import find_site

RETURNS_PER_PAGE = 50


def _find(request: PortalRequest, group: Group, return_id: UUID, action: str) -> SafeReturn:
    rows = SafeReturn.objects.of_group(group).select_related("group", "site", "started_by", "partner")
    found = get_object_or_404(rows, id=return_id)
    require(request.person, action, found)
    return found


@login_required
@require_safe
@never_cache
def safe_return_list(request: PortalRequest, slug: str) -> HttpResponse:
    """Who is out, what ended lately, and where one may start."""
    group = enter(request, slug, "return.start")
    context = {
        "page": Paginator(live_returns(request.person, group), RETURNS_PER_PAGE).get_page(
            request.GET.get("page")
        ),
        "ended": ended_returns(request.person, group),
        "sites": Site.objects.of_group(group).filter(closed_on=None),
        "rules": rules_of(group),
        "now": timezone.now(),
    }
    return render(request, "surveys/safe_return_list.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def safe_return_start(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """Start watching over an outing to a site."""
    group = enter(request, slug, "return.start")
    site = find_site(group, site_id)
    form = _form(request, group)
    made = _started(request, site, form) if request.method == "POST" and form.is_valid() else None
    if made:
        messages.success(request, _("The safe return has begun. Remember to end it: “I am back”."))
        return redirect("safe_return_detail", slug=slug, return_id=made.pk)
    context = {
        "form": form,
        "site": site,
        "rules": rules_of(group),
        "river": river_at(site),
        "permission_lapsed": site.permission_lapsed(timezone.localdate()),
    }
    return render(request, "surveys/safe_return_start.html", context, status=422 if form.errors else 200)


def _form(request: PortalRequest, group: Group) -> SafeReturnForm:
    users = [each.user for each in members_of(group)]
    phone = next((user.phone for user in users if user.pk == request.person.user_id), "")
    people = [(str(user.pk), str(user)) for user in users if user.pk != request.person.user_id]
    return SafeReturnForm(posted(request), people=people, phone=phone)


def _started(request: PortalRequest, site: Site, form: SafeReturnForm) -> SafeReturn | None:
    """The safe return, or None with what is wrong on the form."""
    number = form.cleaned_data["number"]
    try:
        return start_safe_return(person=request.person, site=site, number=number, plan=form.plan())
    except NotPossible as reason:
        form.add_error(reason.field or None, reason.message)
    except Conflict:
        form.add_error(None, _("This form was used before. Open it anew."))
    return None


@login_required
@require_safe
@never_cache
def safe_return_detail(request: PortalRequest, slug: str, return_id: UUID) -> HttpResponse:
    """One outing: until when, what happens then, and its course so far."""
    group = enter(request, slug, "group.view")
    found = _find(request, group, return_id, "return.view")
    context = {
        "safe_return": found,
        "site": found.site,
        "place": place_of(found.site),
        "rules": rules_of(group),
        "is_own": request.person.user_id in found.pair_ids,
        "overdue": minutes_late(found.expected_at, timezone.now()),
        "steps": [(step.label, found.due_at(step), step <= found.step) for step in Step if step],
        "events": found.events.all(),
        "may_extend": allowed(request.person, "return.extend", found),
        "may_look": allowed(request.person, "emergency.look", found),
    }
    return render(request, "surveys/safe_return_detail.html", context)


@login_required
@require_POST
def safe_return_extend(request: PortalRequest, slug: str, return_id: UUID) -> HttpResponse:
    """Take 30 minutes more."""
    group = enter(request, slug, "group.view")
    found = _find(request, group, return_id, "return.extend")
    try:
        extend_safe_return(safe_return=found, person=request.person)
    except NotPossible as reason:
        messages.error(request, reason.message)
    else:
        messages.success(request, _("You have 30 minutes more."))
    return redirect("safe_return_detail", slug=slug, return_id=return_id)


@login_required
@require_POST
def safe_return_end(request: PortalRequest, slug: str, return_id: UUID) -> HttpResponse:
    """Say that the pair is back, or known to be safe."""
    group = enter(request, slug, "group.view")
    found = _find(request, group, return_id, "return.end")
    end_safe_return(safe_return=found, person=request.person)
    messages.success(request, _("It is ended; whoever was told hears of it."))
    return redirect("safe_return_detail", slug=slug, return_id=return_id)
