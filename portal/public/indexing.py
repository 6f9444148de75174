"""What search engines are told: which pages are for everybody, and when they changed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.sitemaps import Sitemap
from django.contrib.sitemaps.views import sitemap as sitemap_of
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.urls import reverse
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from portal.accounts.models import Group
from portal.accounts.queries import public_groups
from portal.accounts.walls import wide
from portal.audit.versions import with_version
from portal.public.answering import FRESH
from portal.reports.queries import published_reports
from surveys.models import Site

# Everything else is a group's own, or a link in somebody's mail.
OPEN = ("/$", "/public/", "/methods/", "/static/", "/id/")


@require_safe
@cache_control(public=True, max_age=FRESH)
def robots(_request: HttpRequest) -> HttpResponse:
    """Public pages may be read by programs that index, all others not."""
    lines = ["User-agent: *", *(f"Allow: {each}" for each in OPEN), "Disallow: /"]
    lines += ["", f"Sitemap: {settings.BASE_URL}{reverse('sitemap')}", ""]
    return HttpResponse("\n".join(lines), content_type="text/plain; charset=utf-8")


@dataclass(frozen=True)
class Address:
    """One page for the map of the site."""

    path: str
    changed_at: datetime | None = None


class PublicPages(Sitemap[Address]):
    """Every page of every group that publishes (three queries)."""

    protocol = urlsplit(settings.BASE_URL).scheme

    @wide("every group that publishes")
    def items(self) -> list[Address]:
        groups = {each.pk: each for each in with_version(public_groups())}
        pages = [address for group in groups.values() for address in _pages_of(group)]
        sites = Site.objects.across_groups("of groups that publish").filter(group__in=groups)
        for site in sites.only("id", "group_id").order_by("group_id", "code"):
            group = groups[site.group_id]
            pages.append(Address(reverse("public_site", args=[group.slug, site.pk]), _changed(group)))
        for report in published_reports().defer("data").order_by("group_id", "-year", "-edition"):
            if report.group_id in groups:
                pages.append(Address(reverse("public_report", args=[report.pk]), report.published_at))
        return [Address(reverse("home")), Address(reverse("methods")), *pages]

    def location(self, item: Address) -> str:
        return item.path

    def lastmod(self, item: Address) -> datetime | None:
        return item.changed_at

    def get_domain(self, site: Any = None) -> str:
        """The portal's own name, whatever name it was asked by."""
        del site
        return urlsplit(settings.BASE_URL).netloc


def _pages_of(group: Group) -> list[Address]:
    names = ("public_group", "public_report_list", "public_data", "enquiry_ask")
    return [Address(reverse(name, args=[group.slug]), _changed(group)) for name in names]


def _changed(group: Group) -> datetime | None:
    return group.changed_at  # type: ignore[attr-defined, no-any-return]


@require_safe
@cache_control(public=True, max_age=FRESH)
def sitemap(request: HttpRequest) -> HttpResponseBase:
    """The map of all public pages, in the form of sitemaps.org."""
    return sitemap_of(request, SITEMAPS)


SITEMAPS: dict[str, type[Sitemap[Any]] | Sitemap[Any]] = {"pages": PublicPages}
