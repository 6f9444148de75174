"""The Atom feed of a group: approved results and closed incidents, the latest first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib.syndication.views import Feed
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.urls import reverse
from django.utils import timezone
from django.utils.feedgenerator import Atom1Feed
from django.utils.formats import date_format
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from alerts.models import Incident
from portal.accounts.models import Group
from portal.public import queries
from portal.public.answering import answer
from surveys.models import Site, Visit
from surveys.scores.columns import columns_of


@dataclass(frozen=True)
class Entry:
    """One entry of the feed."""

    number: UUID
    title: str
    text: str
    site: Site
    at: datetime


class GroupFeed(Feed[Entry, Group]):
    """What Django's feeds ask for; addresses are the portal's own, whatever name it was asked by."""

    feed_type = Atom1Feed

    def __init__(self, group: Group) -> None:
        self.group = group
        self.language = get_language() or settings.LANGUAGE_CODE

    def get_object(self, request: HttpRequest, *args: Any, **named: Any) -> Group:  # noqa: ARG002
        return self.group

    def title(self, group: Group) -> str:
        return group.name

    def subtitle(self, _group: Group) -> str:
        return _("Approved results, and incidents that are closed")

    def link(self, group: Group) -> str:
        return settings.BASE_URL + reverse("public_group", args=[group.slug])

    def feed_url(self, group: Group) -> str:
        return settings.BASE_URL + reverse("public_feed", args=[group.slug])

    def feed_guid(self, group: Group) -> str:
        return group.pk.urn

    def author_name(self, group: Group) -> str:
        return group.name

    def items(self, group: Group) -> list[Entry]:
        found = [*_results(queries.latest_visits(group)), *map(_closed, queries.closed_incidents(group))]
        return sorted(found, key=lambda each: each.at, reverse=True)[: queries.LATEST]

    def item_title(self, item: Entry) -> str:
        return item.title

    def item_description(self, item: Entry) -> str:
        return item.text

    def item_link(self, item: Entry) -> str:
        return settings.BASE_URL + reverse("public_site", args=[self.group.slug, item.site.pk])

    def item_guid(self, item: Entry) -> str:
        return item.number.urn

    def item_updateddate(self, item: Entry) -> datetime:
        return item.at


@require_safe
def public_feed(request: HttpRequest, slug: str) -> HttpResponseBase:
    """The feed, for whoever reads many sources in one place."""
    group = queries.public_group_at(slug)
    return answer(request, [group], lambda: _written(request, group))


def _written(request: HttpRequest, group: Group) -> HttpResponse:
    return GroupFeed(group)(request)


def _results(visits: Sequence[Visit]) -> list[Entry]:
    columns = columns_of(visits)
    return [_result(visit, columns) for visit in visits]


def _result(visit: Visit, columns: Sequence[Any]) -> Entry:
    told = ", ".join(
        cell if column.names_index else f"{column.heading} {cell}"
        for column in columns
        if (cell := column.cell(visit)) != "–"
    )
    words = {"site": visit.site.name, "day": date_format(visit.visited_on), "river": visit.site.river}
    verdict = getattr(visit, "verdict", None)
    return Entry(
        number=visit.pk,
        title=_("%(site)s: visit of %(day)s") % words,
        text="; ".join(filter(None, (words["river"], told, verdict.get_outcome_display() if verdict else ""))),
        site=visit.site,
        at=visit.reviewed_at or visit.submitted_at,
    )


def _closed(incident: Incident) -> Entry:
    # A group's own words for an outcome may name whom they suspect: only the common word goes out.
    words = {
        "site": incident.site.name,
        "number": incident.reference,
        "outcome": incident.get_outcome_display(),
        "opened": date_format(timezone.localdate(incident.opened_at)),
        "closed": date_format(timezone.localdate(incident.closed_at)) if incident.closed_at else "",
    }
    return Entry(
        number=incident.pk,
        title=_("%(site)s: incident %(number)s is closed") % words,
        text=_("Low score noticed %(opened)s, closed %(closed)s: %(outcome)s.") % words,
        site=incident.site,
        at=incident.closed_at or incident.opened_at,
    )
