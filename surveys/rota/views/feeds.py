"""Calendars: read by secret address, renewed by whom they belong to."""

from __future__ import annotations

from hashlib import sha256

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter
from portal.accounts.signed_links import by_link
from surveys.rota.calendars import calendar_of
from surveys.rota.links import read_feed
from surveys.rota.models import CalendarFeed
from surveys.rota.services.feeds import renew_group_feed, renew_own_feed


@require_safe
@by_link(read_feed, "rota/link_gone.html")
def rota_calendar(request: HttpRequest, feed: CalendarFeed) -> HttpResponseBase:
    """The calendar itself; a subscriber who has it already is told so (304)."""
    content = calendar_of(feed)
    etag = f'"{sha256(content).hexdigest()[:32]}"'
    answer = HttpResponse(content, content_type="text/calendar; charset=utf-8")
    answer["Cache-Control"] = "private, max-age=900"
    answer["ETag"] = etag
    answer["Content-Disposition"] = 'inline; filename="rota.ics"'
    return get_conditional_response(request, etag=etag, response=answer) or answer


@login_required
@require_POST
def feed_renew(request: PortalRequest, slug: str) -> HttpResponse:
    """A new address for one's own calendar."""
    renew_own_feed(person=request.person, group=enter(request, slug, "rota.view"))
    messages.success(request, _("Here is the address of your calendar. An older one does not work any more."))
    return redirect("availability_edit", slug=slug)


@login_required
@require_POST
def group_feed_renew(request: PortalRequest, slug: str) -> HttpResponse:
    """A new address for the group's calendar."""
    renew_group_feed(person=request.person, group=enter(request, slug, "rota.plan"))
    messages.success(request, _("Here is the address of the group's calendar. An older one is dead."))
    return redirect("availability_edit", slug=slug)
