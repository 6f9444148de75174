"""A group's sites: listed, read, added and changed."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from portal.accounts.access import allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter, posted
from surveys.forms import SiteForm
from surveys.histories import trail_of
from surveys.models import Site
from surveys.outings.rivers import river_at
from surveys.overviews import last_visits, neighbours, own_draft_at, page_of_sites
from surveys.places.locations import grid_reference
from surveys.queries import due_of
from surveys.services.sites import save_site
from surveys.views.shared import find_dated_site, find_site

VISITS_SHOWN = 24


@login_required
@require_safe
def site_list(request: PortalRequest, slug: str) -> HttpResponse:
    """Every site with when it is due and what its latest visit said."""
    group = enter(request, slug, "site.view")
    page = page_of_sites(group, timezone.localdate(), request.GET.get("page", ""))
    context = {
        "page": page,
        "latest": [row.latest for row in page if row.latest],
        "may_edit": allowed(request.person, "site.edit", group),
    }
    return render(request, "surveys/site_list.html", context)


@login_required
@require_safe
def site_detail(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """One site: where it is, what to beware of, how it is sampled and what was found."""
    group = enter(request, slug, "site.view")
    site = find_dated_site(group, site_id)
    today = timezone.localdate()
    context = {
        "site": site,
        "grid_reference": grid_reference(site.latitude, site.longitude),
        "neighbours": neighbours(site),
        "due": due_of(site, today),
        "draft": own_draft_at(request.person, site),
        "visits": last_visits(site, VISITS_SHOWN),
        "visits_shown": VISITS_SHOWN,
        "events": trail_of(site, group),
        "permission_lapsed": site.permission_lapsed(today),
        "river": river_at(site),
        "may_edit": allowed(request.person, "site.edit", site),
        # A guest reviewer is shown the place, and nothing of the people around it.
        "may_submit": allowed(request.person, "visit.submit", site),
    }
    return render(request, "surveys/site_detail.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def site_create(request: PortalRequest, slug: str) -> HttpResponse:
    """Add a site."""
    group = enter(request, slug, "site.edit")
    form = SiteForm(posted(request), group=group)
    site = _saved(request, group, None, form) if request.method == "POST" else None
    if site:
        messages.success(request, _("%(site)s is added.") % {"site": site})
        return redirect("site_detail", slug=slug, site_id=site.pk)
    return render(request, "surveys/site_create.html", {"form": form}, status=422 if form.errors else 200)


def _saved(request: PortalRequest, group: Group, site: Site | None, form: SiteForm) -> Site | None:
    """The saved site, or None with the mistakes on the form."""
    if not form.is_valid():
        return None
    try:
        return save_site(person=request.person, group=group, site=site, fields=form.facts())
    except ValidationError as refusal:
        form.refuse(refusal)
        return None


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def site_edit(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """Change a site."""
    group = enter(request, slug, "site.edit")
    site = find_site(group, site_id)
    form = SiteForm(posted(request), instance=site, group=group)
    # Read again, because checking the form changes the one it was given.
    stored = find_site(group, site_id)
    if request.method == "POST" and _saved(request, group, stored, form):
        messages.success(request, _("The changes are saved."))
        return redirect("site_detail", slug=slug, site_id=site.pk)
    context = {"form": form, "site": stored}
    return render(request, "surveys/site_edit.html", context, status=422 if form.errors else 200)
