"""Tags of the public pages: what a page's head tells to search engines, and maps."""

from __future__ import annotations

from typing import Any

from django import template
from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse
from django.utils.text import Truncator
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from portal.accounts.languages import ASKED, is_spoken
from portal.accounts.models import Group
from portal.public.maps import SiteMap, exact_map
from portal.public.results import Result, all_of

register = template.Library()
LONGEST_DESCRIPTION = 155


@register.inclusion_tag("public/_head.html", takes_context=True)
def public_head(context: template.Context, description: str, feed: str = "") -> dict[str, Any]:
    """Description, the page's one address and those in other languages; ``feed`` is that of an Atom feed."""
    request: HttpRequest = context["request"]
    plain = settings.BASE_URL + request.path + _page(request)
    joint = "&" if "?" in plain else "?"
    by_language = {code: f"{plain}{joint}{ASKED}={code}" for code, _name in settings.LANGUAGES}
    asked = request.GET.get(ASKED, "")
    return {
        "description": Truncator(" ".join(description.split())).chars(LONGEST_DESCRIPTION),
        "canonical": by_language[asked] if is_spoken(asked) else plain,
        "plain": plain,
        "by_language": by_language,
        "feed": settings.BASE_URL + feed if feed else "",
        "title": context.get("group", ""),
        "language": get_language(),
    }


def _page(request: HttpRequest) -> str:
    number = request.GET.get("page", "")
    return f"?page={number}" if number.isdecimal() and int(number) > 1 else ""


@register.inclusion_tag("public/_map.html")
def show_map(site_map: SiteMap | None, caption: str, with_list: bool = True) -> dict[str, Any]:
    """A map of sites; its list follows, unless the page has one of its own that says the same."""
    return {"map": site_map, "caption": caption, "with_list": with_list}


@register.inclusion_tag("public/_map.html")
def map_of_group(group: Group) -> dict[str, Any]:
    """The map of a member's own group: exact places, and visits that wait to be checked."""

    def href(result: Result) -> str:
        return reverse("site_detail", args=[group.slug, result.site.pk])

    title = _("Sites of %(group)s") % {"group": group.name}
    return {
        "map": exact_map(all_of(group), href, title=title),
        "caption": title,
        "with_list": True,
        "is_folded": True,
    }
