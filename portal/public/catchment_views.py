"""Pages of a catchment whose groups share their results."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.cache import patch_cache_control
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from alerts.charts.drawn_once import drawn_once
from portal.accounts.access import allowed
from portal.accounts.middleware import PortalRequest
from portal.accounts.pages import enter, posted
from portal.accounts.walls import admit
from portal.charts import Drawing, ProfileWords, draw_profile
from portal.charts import Station as Drawn
from portal.charts.profile import MOST_ON_PHONE
from portal.public import catchments
from portal.public.answering import answer
from portal.public.catchments import Station
from portal.public.forms import FoundForm, JoinForm, LinkForm
from portal.public.maps import site_map
from portal.public.models import CatchmentShare
from portal.public.results import Result
from scoring.indices import METHODS
from surveys.errors import NotPossible
from surveys.texts.told import told


def public_catchment(request: PortalRequest, catchment_id: UUID) -> HttpResponseBase:
    """The sites of all groups that share, from the highest to the lowest: for everybody where all publish."""
    shares = catchments.sharing_in(catchment_id)
    is_public = bool(shares) and all(share.group.is_public for share in shares)
    return _for_everybody(request, shares) if is_public else _for_members(request, shares)


@require_safe
def _for_everybody(request: HttpRequest, shares: Sequence[CatchmentShare]) -> HttpResponseBase:
    admit(*[share.group_id for share in shares])
    return answer(request, [share.group for share in shares], lambda: _page(request, shares))


@login_required
@require_safe
def _for_members(request: PortalRequest, shares: Sequence[CatchmentShare]) -> HttpResponse:
    catchments.require_reader(request.person, shares)
    admit(*[share.group_id for share in shares])
    response = _page(request, shares)
    patch_cache_control(response, private=True, no_store=True)
    return response


def _page(request: HttpRequest, shares: Sequence[CatchmentShare]) -> HttpResponse:
    index, choice, stations = catchments.stations_of(shares, request.GET.get("index", ""))
    catchment = shares[0].catchment
    title = _("Sites of the groups of %(catchment)s") % {"catchment": catchment.name}
    terms = catchments.terms_by_group(shares)
    context = {
        "catchment": catchment,
        "groups": [share.group for share in shares],
        "is_public": all(share.group.is_public for share in shares),
        "index": index,
        "index_name": told(METHODS[index].name) if index else "",
        "choice": [(key, told(METHODS[key].name)) for key in choice],
        "decimals": METHODS[index].decimals if index else 0,
        "stations": [(each, _href(each.group.is_public, each.group.slug, each.result)) for each in stations],
        "chart": _profile(catchment.name, index, stations) if index else "",
        "narrow_chart": _narrow_profile(catchment.name, index, stations) if index else "",
        "map": site_map([each.result for each in stations], _links(shares), terms, title=title),
    }
    return render(request, "public/public_catchment.html", context)


def _href(is_public: bool, slug: str, result: Result) -> str:
    """The site's public page; a group that does not publish has none."""
    return reverse("public_site", args=[slug, result.site.pk]) if is_public else ""


def _links(shares: Sequence[CatchmentShare]) -> Any:
    groups = {share.group_id: share.group for share in shares}

    def href(result: Result) -> str:
        group = groups[result.site.group_id]
        return _href(group.is_public, group.slug, result)

    return href


def _narrow_profile(name: str, index: str, stations: Sequence[Station]) -> Drawing | str:
    """The same for a phone; of more sites than it has room for the wide one is moved to and fro there."""
    return _profile(name, index, stations, is_narrow=True) if len(stations) <= MOST_ON_PHONE else ""


def _profile(name: str, index: str, stations: Sequence[Station], *, is_narrow: bool = False) -> Drawing:
    method = METHODS[index]
    words = ProfileWords(
        axis=told(method.name) + (f", {told(method.unit)}" if method.unit else ""),
        usual=_("usual score: the median of three years"),
        spread=_("middle half of these scores"),
        how_to_read=_(
            "Sites stand from the highest at the left to the lowest at the right; lines join the usual scores "
            "of sites that flow into each other. A mark is the latest score, its shape says how it stood "
            "against the site's own trigger. The same figures stand in a table."
        ),
    )
    drawn = [
        Drawn(
            code=each.result.site.code,
            name=each.result.site.name,
            state=each.result.state,
            latest=each.latest,
            when=each.result.when,
            typical=each.typical,
            low=each.low,
            high=each.high,
            into=each.into,
        )
        for each in stations
    ]
    title = _("%(index)s down the river: %(catchment)s") % {"index": told(method.name), "catchment": name}
    lang = get_language() or "en"
    return drawn_once(draw_profile, drawn, title=title, words=words, lang=lang, is_narrow=is_narrow)


@login_required
@require_safe
def catchment_list(request: PortalRequest, slug: str) -> HttpResponse:
    """The catchments in which the group shares."""
    group = enter(request, slug, "group.view")
    context = {
        "group": group,
        "shares": catchments.shares_of(group),
        "may_share": allowed(request.person, catchments.SHARE, group),
    }
    return render(request, "public/catchment_list.html", context)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def catchment_found(request: PortalRequest, slug: str) -> HttpResponse:
    """Found a catchment that other groups may join."""
    group = enter(request, slug, catchments.SHARE)
    form = FoundForm(posted(request))
    if request.method == "POST" and form.is_valid():
        catchments.found_catchment(person=request.person, group=group, name=form.cleaned_data["name"])
        return redirect("catchment_list", slug=slug)
    context = {"group": group, "form": form}
    return render(request, "public/catchment_found.html", context, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def catchment_join(request: PortalRequest, slug: str) -> HttpResponse:
    """Share in a catchment that another group founded."""
    group = enter(request, slug, catchments.SHARE)
    form = JoinForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            catchments.join_catchment(person=request.person, group=group, word=form.cleaned_data["word"])
            return redirect("catchment_list", slug=slug)
        except NotPossible as reason:
            form.add_error("word", reason.message)
    context = {"group": group, "form": form}
    return render(request, "public/catchment_join.html", context, status=422 if form.errors else 200)


def _share(request: PortalRequest, slug: str, share_id: UUID) -> CatchmentShare:
    group = enter(request, slug, catchments.SHARE)
    return get_object_or_404(catchments.shares_of(group).select_related("catchment", "group"), id=share_id)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def catchment_edit(request: PortalRequest, slug: str, share_id: UUID) -> HttpResponse:
    """Where the group's water goes next, the word for others, and the way out."""
    share = _share(request, slug, share_id)
    form = LinkForm(posted(request), share=share, initial={"next_site": share.next_site_id})
    if request.method == "POST" and form.is_valid():
        catchments.set_next_site(person=request.person, share=share, site=form.cleaned_data["next_site"])
        messages.success(request, _("The order of the water is kept."))
        return redirect("catchment_list", slug=slug)
    context = {"group": share.group, "share": share, "form": form}
    return render(request, "public/catchment_edit.html", context, status=422 if form.errors else 200)


@login_required
@require_POST
def catchment_leave(request: PortalRequest, slug: str, share_id: UUID) -> HttpResponse:
    """Share no longer."""
    share = _share(request, slug, share_id)
    catchments.leave_catchment(person=request.person, share=share)
    messages.success(
        request, _("Your group shares there no longer. Its sites are shown to nobody else from now on.")
    )
    return redirect("catchment_list", slug=slug)
