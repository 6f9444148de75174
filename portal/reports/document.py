"""From frozen figures to the PDF: HTML by a template, charts drawn in, typeset by WeasyPrint."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import date
from typing import Any

from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from portal.charts import Drawing, Point, TriggerLine, draw_history
from portal.reports.sketch import draw_sketch
from surveys.told import told
from surveys.typesetting import as_pdf, lay_out, style_text

Figures = Mapping[str, Any]
# Reports gathered before each site told its own columns showed these.
COLUMNS_OF_VERSION_1 = ["bmwp", "ntaxa", "aspt", "ept_families"]
OnSite = Callable[[int, int], None]


def _tell_nobody(_number: int, _of: int) -> None:
    """Rendering without a progress bar."""


def write_pdf(figures: Figures, *, edition: int, published_on: date | None = None) -> bytes:
    """Typeset the report as PDF; without `published_on` every page is marked as a draft."""
    html = render_document(figures, edition=edition, published_on=published_on)
    return typeset(html)


def typeset(html: str) -> bytes:
    """Turn the report's HTML into a PDF for screen readers as well as for paper."""
    return as_pdf(lay_out(html, [style_text("css/report.css")]))


def render_document(
    figures: Figures, *, edition: int, published_on: date | None = None, on_site: OnSite = _tell_nobody
) -> str:
    """The report as one HTML document, in the language it was gathered in.

    `on_site` hears (number, of how many) after each site's chart, for a progress bar.
    """
    with translation.override(figures["language"]):
        context = {
            **figures,
            "sites": list(_sites_drawn(figures, on_site)),
            "sketch": draw_map(figures),
            "edition": edition,
            "published_on": published_on,
            "is_draft": published_on is None,
        }
        return render_to_string("reports/yearly_report.html", context)


def _sites_drawn(figures: Figures, on_site: OnSite) -> Iterator[dict[str, Any]]:
    sites = figures["sites"]
    for number, site in enumerate(sites, start=1):
        yield {**site, **_laid_out(site), "chart": draw_site(site, figures)}
        on_site(number, len(sites))


def _laid_out(site: Figures) -> dict[str, Any]:
    """What makes a site fit one page: taxa in two columns, each reason written out once below the visits."""
    half = (len(site["taxa"]) + 1) // 2
    texts = dict.fromkeys(text for visit in site["visits"] for text in _remarks(visit))
    numbers = {text: number for number, text in enumerate(texts, start=1)}
    visits = [{**visit, "remarks": [numbers[text] for text in _remarks(visit)]} for visit in site["visits"]]
    columns = [part for part in (site["taxa"][:half], site["taxa"][half:]) if part]
    shown = site.get("score_columns", COLUMNS_OF_VERSION_1)
    return {"score_columns": shown, "visits": visits, "remarks": list(texts), "taxa_columns": columns}


def _remarks(visit: Figures) -> list[str]:
    """Why the visit was not tested, what was set aside, why there is no score."""
    aside = [_("Tested all the same although: %(reason)s") % {"reason": text} for text in visit["set_aside"]]
    # "No score" stands among the reasons already; the score's own words say why.
    return [*visit["reasons"], *aside, *([told(visit["why_none"])] if visit["why_none"] else [])]


def draw_site(site: Figures, figures: Figures) -> Drawing:
    """The site's scores of the year and the two before it against the trigger; the year is shaded."""
    return draw_history(
        [_point(each) for each in site["points"]],
        [_trigger_line(each) for each in site["triggers"]],
        title=f"{site['code']} {site['name']}, {site['index_name']}",
        index_name=site["index_name"],
        emphasis=(date(figures["year"], 1, 1), date(figures["year"], 12, 31)),
        width=680,
        height=225,
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
    return draw_sketch(sites, title=title, description=title, lang=figures["language"])


def _point(each: Figures) -> Point:
    return Point(
        when=date.fromisoformat(each["on"]),
        value=each["value"],
        low=each["low"],
        high=each["high"],
        tested=each["outcome"] != "not_tested",
        below=each["outcome"] == "below",
    )


def _trigger_line(each: Figures) -> TriggerLine:
    end = date.fromisoformat(each["to"]) if each["to"] else None
    return TriggerLine(each["level"], date.fromisoformat(each["from"]), end)
