"""Pages of the trail: one's own account, a group's rights and files, the whole portal."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_required
from django.core.paginator import Page, Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from portal.accounts.walls import wide
from portal.audit.addresses import KEPT
from portal.audit.models import AuditEntry
from portal.audit.queries import Entries, all_happenings, group_happenings, own_happenings, told

ON_A_PAGE = 50


@login_required
@require_safe
@never_cache
def account_trail(request: PortalRequest) -> HttpResponse:
    """What happened with my account: when, what, from where."""
    with wide("what a person did is of several groups, and of none"):
        page = _page(request, own_happenings(request.person))
        happenings = told(page, with_addresses=True, own=request.person)
    return render(request, "audit/account_trail.html", _context(page, happenings))


@login_required
@require_safe
@never_cache
def group_trail(request: PortalRequest, slug: str) -> HttpResponse:
    """Rights and files of the group, for its coordinators."""
    page = _page(request, group_happenings(enter(request, slug, "group.trail")))
    return render(request, "audit/group_trail.html", _context(page, told(page, with_addresses=False)))


@login_required
@require_safe
@never_cache
def portal_trail(request: PortalRequest) -> HttpResponse:
    """Sign-ins, rights and files of the whole portal, for those who run it."""
    if not request.person.is_operator:
        raise Http404
    with wide("operators see the whole portal"):
        page = _page(request, all_happenings())
        happenings = told(page, with_addresses=True)
    return render(request, "audit/portal_trail.html", _context(page, happenings))


def _page(request: HttpRequest, entries: Entries) -> Page[AuditEntry]:
    return Paginator(entries, ON_A_PAGE).get_page(request.GET.get("page"))


def _context(page: Page[AuditEntry], happenings: list[Any]) -> dict[str, Any]:
    return {"page": page, "happenings": happenings, "days_kept": KEPT.days}
