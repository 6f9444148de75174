"""The bank pages: what a phone keeps, so that it opens at the water without any network."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any
from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter
from portal.accounts.queries import members_of
from surveys.api.sessions import PERSON_HEADER
from surveys.forms import visit_entry
from surveys.offline.bank import MOST_SITES, bank_sites, groups_to_sample, last_results
from surveys.offline.release import release
from surveys.places.locations import grid_reference
from surveys.queries import due_of
from surveys.services.photos import MOST_PHOTOS
from surveys.views.drafts import opening_data
from surveys.views.shared import find_dated_site, find_site, kit_choices
from surveys.visits.positions import landmarks

RELEASE_HEADER = "X-Rifflebook-Release"
View = Callable[..., HttpResponse]


def bank_page(view: View) -> View:
    """A page for signed-in members that a phone keeps."""
    # A form is a hundred kilobytes of text; a phone fetches it for every site.
    page: View = never_cache(gzip_page(login_required(require_safe(_labelled(view)))))
    return page


def open_bank_page(view: View) -> View:
    """A page for everybody that a phone keeps."""
    page: View = never_cache(gzip_page(require_safe(_labelled(view))))
    return page


def _labelled(view: View) -> View:
    """The page with the headers that say whose it is and of which release."""

    @wraps(view)
    def labelled(request: PortalRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        answer = view(request, *args, **kwargs)
        answer[PERSON_HEADER] = str(request.person.user_id or "")
        answer[RELEASE_HEADER] = release()
        return answer

    return labelled


@bank_page
def bank_home(request: PortalRequest) -> HttpResponse:
    """Where a phone starts: the due sites of all my groups, and what is on this phone."""
    sites = bank_sites(request.person, timezone.localdate())
    kept = sites[:MOST_SITES]
    groups = len(groups_to_sample(request.person))
    context = {"sites": kept, "left_out": len(sites) - len(kept), "several_groups": groups > 1}
    return render(request, "bank/bank_home.html", context)


@bank_page
def bank_site(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """One site as it is needed at the water: hazards first, then the way, the plan and the last results."""
    group = enter(request, slug, "visit.submit")
    site = find_dated_site(group, site_id)
    today = timezone.localdate()
    context = {
        "site": site,
        "due": due_of(site, today),
        "grid_reference": grid_reference(site.latitude, site.longitude),
        "visits": last_results(site),
        "permission_lapsed": site.permission_lapsed(today),
    }
    return render(request, "bank/bank_site.html", context)


@bank_page
def bank_visit(request: PortalRequest, slug: str, site_id: UUID) -> HttpResponse:
    """The visit form, empty: the phone fills it with what it keeps under the number behind the hash."""
    group = enter(request, slug, "visit.submit")
    site = find_site(group, site_id)
    entry = visit_entry(
        site=site,
        people=_people(group),
        kits=kit_choices(group),
        taxa=list(site.recording_list.taxa.all()),
        data=opening_data(site, request.person),
        others=landmarks(group, site),
    )
    context = {"entry": entry, "site": site, "most_photos": MOST_PHOTOS}
    return render(request, "bank/bank_visit.html", context)


def _people(group: Group) -> list[tuple[str, str]]:
    return [(str(member.user_id), str(member.user)) for member in members_of(group)]
