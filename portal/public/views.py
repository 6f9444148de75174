"""Pages for everybody: nothing unapproved, no hazards, no names of people, no place that a group hides."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from alerts.charts.of_site import NARROW, draw_site, site_points
from alerts.judging.records import Judged, SiteRecord
from alerts.models import Trigger
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from portal.accounts.pages import enter
from portal.public import queries
from portal.public.answering import answer
from portal.public.data.queries import OPEN_DATA, files_of, kept_file
from portal.public.data.services import request_open_data
from portal.public.maps import site_map
from portal.public.results import Result, approved_of
from portal.reports.queries import published_of
from scoring.indices import METHODS
from surveys.errors import NotPossible
from surveys.models import Site, Visit
from surveys.queries import HistoryPoint
from surveys.scores.columns import ScoreColumn, columns_of
from surveys.texts.told import told
from surveys.visits.sheets import scores_of

SITES_PER_PAGE, TABLE_ROWS = 50, 36


@require_safe
def public_group(request: HttpRequest, slug: str) -> HttpResponseBase:
    """A group that publishes: what it does, its sites on a map and as a list, with their latest results."""
    group = queries.public_group_at(slug)
    return answer(request, [group], lambda: _group_page(request, group))


def _group_page(request: HttpRequest, group: Group) -> HttpResponse:
    results = approved_of([group])
    page = Paginator(results, SITES_PER_PAGE).get_page(request.GET.get("page", ""))

    def href(result: Result) -> str:
        return reverse("public_site", args=[group.slug, result.site.pk])

    drawn = site_map(
        results,
        href,
        {group.pk: queries.terms_of(group)},
        title=_("Sites of %(group)s") % {"group": group.name},
        shown=list(page),
    )
    return render(request, "public/public_group.html", {"group": group, "page": page, "map": drawn})


@require_safe
def public_site(request: HttpRequest, slug: str, site_id: UUID) -> HttpResponseBase:
    """One site's approved results."""
    site, triggers = queries.public_site_at(slug, site_id)
    return answer(request, [site.group], lambda: _site_page(request, site, triggers))


def _site_page(request: HttpRequest, site: Site, triggers: list[Trigger]) -> HttpResponse:
    visits = queries.approved_visits(site)
    columns = columns_of([visit for visit in visits if visit.was_made])
    index = _index_of(site, triggers, columns)
    record = _record(site, index, [visit for visit in reversed(visits) if visit.was_made])
    points, lines = site_points(site, index, triggers=triggers, record=record)
    context = {
        "group": site.group,
        "site": site,
        "index_name": told(METHODS[index].name),
        "chart": draw_site(site, index, points, lines),
        "narrow_chart": draw_site(site, index, points, lines, size=NARROW),
        "visits": visits[:TABLE_ROWS],
        "earlier": len(visits) - TABLE_ROWS,
        "columns": columns,
    }
    return render(request, "public/public_site.html", context)


def _index_of(site: Site, triggers: list[Trigger], columns: list[ScoreColumn]) -> str:
    """The index of the trigger in force, else what the site's own list leads with."""
    today = timezone.localdate()
    in_force = [each for each in triggers if each.valid_from <= today]
    if in_force:
        return in_force[-1].index
    leading = columns[0].by_list if columns else {}
    return leading.get(site.recording_list_id) or next(iter(leading.values()), "") or "bmwp"


def _record(site: Site, index: str, made: list[Visit]) -> SiteRecord:
    history = [_point(visit, index) for visit in made]
    return SiteRecord(
        site, index, history, {each.pk: Judged.of(each.verdict) for each in made if hasattr(each, "verdict")}
    )


def _point(visit: Visit, index: str) -> HistoryPoint:
    score = next((each for each in scores_of(visit) if each.index == index), None)
    value, low, high = (score.value, score.low, score.high) if score else (None, None, None)
    # Whether the effort was standard bears on baselines only, which no public page shows.
    return HistoryPoint(visit.pk, visit.visited_on, value, low, high, visit.status, is_standard=True)


@require_safe
def public_report_list(request: HttpRequest, slug: str) -> HttpResponseBase:
    """The yearly reports that the group has published."""
    group = queries.public_group_at(slug)

    def page() -> HttpResponse:
        context = {"group": group, "reports": published_of(group)}
        return render(request, "public/public_report_list.html", context)

    return answer(request, [group], page)


@require_safe
def public_data(request: HttpRequest, slug: str) -> HttpResponseBase:
    """The group's approved records as files, with licence and how to name the source."""
    group = queries.public_group_at(slug)

    def page() -> HttpResponse:
        terms = queries.terms_of(group)
        context: dict[str, Any] = {"group": group, "terms": terms, "files": files_of(group, terms)}
        context["citation"] = _citation(group, context["files"])
        return render(request, "public/public_data.html", context)

    return answer(request, [group], page)


def _citation(group: Group, files: list[Any]) -> str:
    """How whoever uses the records names them: holder, year, title, day and address."""
    if not files:
        return ""
    made = timezone.localtime(files[0].made_at)
    return _("%(holder)s (%(year)s): River invertebrates, approved records of %(day)s. %(address)s") % {
        "holder": queries.terms_of(group).attribution or group.name,
        "year": made.year,
        "day": made.date().isoformat(),
        "address": settings.BASE_URL + reverse("public_data", args=[group.slug]),
    }


@require_safe
def public_data_file(request: HttpRequest, slug: str, file_name: str) -> HttpResponseBase:
    """One file of open data, made ahead; its address stays."""
    group = queries.public_group_at(slug)
    kept = kept_file(group, queries.terms_of(group), file_name)
    if kept is None:
        raise Http404
    return answer(
        request,
        [group],
        lambda: FileResponse(
            kept.file.open("rb"),
            as_attachment=True,
            filename=f"{group.slug}-{kept.name}",
            content_type=OPEN_DATA[kept.name],
        ),
    )


@login_required
@require_POST
def open_data_make(request: PortalRequest, slug: str) -> HttpResponse:
    """Order the files of open data now, without waiting for the portal to do so by itself."""
    group = enter(request, slug, "archive.make")
    try:
        job = request_open_data(person=request.person, group=group)
    except NotPossible as reason:
        messages.error(request, reason.message)
        return redirect("publishing_terms", slug=slug)
    return redirect("job_detail", slug=slug, job_id=job.pk)
