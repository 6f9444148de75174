"""From frozen figures to the PDF: HTML by a template, charts drawn in, typeset by WeasyPrint."""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any

from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from alerts.charts.drawn_once import drawn_once
from portal.charts import Drawing, Point, TriggerLine, draw_history, draw_season
from portal.reports.sections import is_shown, left_out_words
from portal.reports.sketch import draw_sketch
from surveys.paper.typesetting import as_pdf, lay_out, style_text
from surveys.texts.told import told

Figures = Mapping[str, Any]
OnSite = Callable[[int, int], None]
# More visits than this do not stand beside the table of the years.
MOST_BESIDE = 40
TAXA_COLUMNS = 3


@dataclass(frozen=True)
class Imprint:
    """What the figures do not say: the cover's picture as JPEG, and what only a published report has."""

    identifier: str = ""
    address: str = ""
    digest: str = ""
    picture: bytes = b""


BLANK = Imprint()
# What a coordinator may add; figures that were just gathered have none of it.
BARE: Figures = {"foreword": "", "captions": {}, "left_out": [], "correction": "", "cover_picture": {}}


def _tell_nobody(_number: int, _of: int) -> None:
    """Rendering without a progress bar."""


def write_pdf(
    figures: Figures, *, edition: int, published_on: date | None = None, imprint: Imprint = BLANK
) -> bytes:
    """Typeset the report as PDF; without `published_on` every page is marked as a draft."""
    return typeset(render_document(figures, edition=edition, published_on=published_on, imprint=imprint))


def typeset(html: str) -> bytes:
    """Turn the report's HTML into a PDF for screen readers as well as for paper."""
    return as_pdf(lay_out(html, [style_text("css/report.css")]))


def render_document(
    figures: Figures,
    *,
    edition: int,
    published_on: date | None = None,
    imprint: Imprint = BLANK,
    on_site: OnSite = _tell_nobody,
) -> str:
    """The report as one HTML document, in the language it was gathered in.

    `on_site` hears (number, of how many) after each site's charts, for a progress bar.
    """
    with translation.override(figures["language"]):
        context = {
            **BARE,
            **figures,
            **asdict(imprint),
            "pages": list(_sites_drawn(figures, on_site)),
            "sketch": draw_map(figures) if is_shown("map", figures) else "",
            "left_out_words": left_out_words(figures),
            "picture_data": _as_address(imprint.picture),
            "edition": edition,
            "published_on": published_on,
            "is_draft": published_on is None,
        }
        return render_to_string("reports/yearly_report.html", context)


def _as_address(picture: bytes) -> str:
    """The picture as an address that holds it: a document fetches nothing from outside."""
    return f"data:image/jpeg;base64,{base64.b64encode(picture).decode()}" if picture else ""


def _sites_drawn(figures: Figures, on_site: OnSite) -> Iterator[dict[str, Any]]:
    sites = [site for site in figures["sites"] if is_shown(f"site-{site['id']}", figures)]
    captions = figures.get("captions", {})
    for number, site in enumerate(sites, start=1):
        drawn = {"chart": draw_site(site, figures), "season_chart": draw_months(site, figures)}
        yield {**site, **_laid_out(site), **drawn, "caption": captions.get(f"site-{site['id']}", "")}
        on_site(number, len(sites))


def _laid_out(site: Figures) -> dict[str, Any]:
    """What makes a site fit one page: taxa in three columns, each reason written out once below the visits."""
    texts = dict.fromkeys(text for visit in site["visits"] for text in _remarks(visit))
    numbers = {text: number for number, text in enumerate(texts, start=1)}
    visits = [{**visit, "remarks": [numbers[text] for text in _remarks(visit)]} for visit in site["visits"]]
    return {
        "visits": visits,
        "remarks": list(texts),
        "taxa_columns": _in_columns(site["taxa"]),
        "is_long": len(visits) > MOST_BESIDE,
    }


def _in_columns(taxa: list[Any]) -> list[list[Any]]:
    height = -(-len(taxa) // TAXA_COLUMNS)
    return [taxa[start : start + height] for start in range(0, len(taxa), height or 1)]


def _remarks(visit: Figures) -> list[str]:
    """Why the visit was not tested, what was set aside, why there is no score."""
    aside = [_("Tested all the same although: %(reason)s") % {"reason": text} for text in visit["set_aside"]]
    # "No score" stands among the reasons already; the score's own words say why.
    return [*visit["reasons"], *aside, *([told(visit["why_none"])] if visit["why_none"] else [])]


def draw_site(site: Figures, figures: Figures) -> Drawing:
    """The site's scores over its whole record against the trigger; the year is shaded."""
    return drawn_once(
        draw_history,
        _points(site),
        [_trigger_line(each) for each in site["triggers"]],
        title=f"{site['code']} {site['name']}, {site['index_name']}",
        index_name=site["index_name"],
        emphasis=(date(figures["year"], 1, 1), date(figures["year"], 12, 31)),
        width=720,
        height=196,
        lang=figures["language"],
    )


def draw_months(site: Figures, figures: Figures) -> Drawing:
    """The pattern over the months: the year's scores filled, those of other years hollow, with the medians."""
    return drawn_once(
        draw_season,
        _points(site),
        title=_("%(site)s, %(index)s by month") % {"site": site["code"], "index": site["index_name"]},
        index_name=site["index_name"],
        year=figures["year"],
        width=400,
        height=215,
        lang=figures["language"],
    )


def draw_map(figures: Figures) -> Drawing | str:
    """The sketch of all sites, or nothing where there is none."""
    sites = figures["sites"]
    if not sites:
        return ""
    links = [
        _("%(site)s flows to %(next)s") % {"site": each["code"], "next": each["downstream"]}
        for each in sites
        if each["downstream"]
    ]
    title = _("Sketch of the sites: %(links)s.") % {"links": "; ".join(links) or _("none is linked")}
    return drawn_once(draw_sketch, sites, title=title, description=title, lang=figures["language"])


def _points(site: Figures) -> list[Point]:
    points = [_point(each) for each in site["points"]]
    # Where there is no trigger, "not tested" would say nothing of any one visit.
    return points if site["triggers"] else [replace(point, tested=True) for point in points]


def _point(each: Figures) -> Point:
    return Point(
        when=date.fromisoformat(each["on"]),
        value=each["value"],
        low=each["low"],
        high=each["high"],
        tested=each["outcome"] != "not_tested",
        below=each["outcome"] == "below",
        standard=each["is_standard"],
    )


def _trigger_line(each: Figures) -> TriggerLine:
    end = date.fromisoformat(each["to"]) if each["to"] else None
    return TriggerLine(each["level"], date.fromisoformat(each["from"]), end)
