"""The chart of a site: its scores against the triggers it has had."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import astuple, fields, replace
from datetime import date, timedelta
from operator import attrgetter

from django.template.loader import render_to_string
from django.utils.safestring import SafeString
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from alerts.charts.drawn_once import Pieces, drawn_once, pieces_from, set_once_since
from alerts.judging.records import Judged, SiteRecord, site_record
from alerts.models import Trigger, Verdict
from alerts.queries import triggers_of
from portal.audit.versions import version_of, version_read
from portal.charts import HistoryRow, Point, TriggerLine, draw_history, history_rows
from scoring.indices.methods import METHODS
from surveys.models import Site
from surveys.queries import HistoryPoint
from surveys.texts.told import told
from surveys.visits.effort import plan_of

WIDE, NARROW = (720, 300), (340, 300)
Size = tuple[int, int]
POINT = attrgetter(*(each.name for each in fields(Point)))


def site_chart(site: Site, index: str, *, emphasis: tuple[date, date] | None = None, size: Size = WIDE) -> str:
    """SVG of a site's history; `emphasis` shades the days from its first to its second date."""
    return draw_site(site, index, *site_points(site, index), emphasis=emphasis, size=size)


def draw_site(
    site: Site,
    index: str,
    points: list[Point],
    lines: list[TriggerLine],
    *,
    emphasis: tuple[date, date] | None = None,
    size: Size = WIDE,
) -> str:
    """SVG from what `site_points` has read, so that two sizes cost one reading."""
    method = METHODS[index]
    return drawn_once(
        draw_history,
        points,
        lines,
        title=_("%(site)s, %(index)s") % {"site": site, "index": told(method.name)},
        index_name=told(method.name),
        unit=told(method.unit),
        emphasis=emphasis,
        width=size[0],
        height=size[1],
        lang=get_language() or "en",
    )


def set_chart(site: Site, index: str, triggers: list[Trigger], emphasis: date | None) -> list[SafeString]:
    """The site's history wide and narrow, and the table of its figures, as HTML; `emphasis` is a day to shade.

    `triggers` are those of `list_of_triggers`. The site's visits are read only where something was recorded of
    its group since they last were: who changes a visit, a score or a verdict records it.
    """

    def find() -> Pieces:
        return pieces_of_site(site, index, *site_points(site, index, triggers=triggers), emphasis)

    lines = [astuple(each) for each in trigger_lines(triggers, index)]
    known = (site.pk, str(site), plan_of(site), index, lines, emphasis, get_language())
    version = version_read(triggers[0]) if triggers else version_of(site.group_id)
    return set_once_since((*known, version), find)


def pieces_of_site(
    site: Site, index: str, points: list[Point], lines: list[TriggerLine], emphasis: date | None
) -> Pieces:
    """The same from what `site_points` has read."""
    window = (emphasis, emphasis) if emphasis else None
    sizes = (WIDE, NARROW)

    def make() -> list[str]:
        drawn = [draw_site(site, index, points, lines, emphasis=window, size=size) for size in sizes]
        rows = site_rows(points, lines)
        context = {"rows": rows, "cap": _("Scores at this site")}
        return [*drawn, render_to_string("alerts/_score_table.html", context) if rows else ""]

    # Plain tuples, because those of two hundred visits are told apart in a fraction of the time.
    figures = [astuple(each) for each in lines], [POINT(each) for each in points]
    return pieces_from((str(site), index, figures, window, sizes, get_language()), make)


def site_points(
    site: Site,
    index: str,
    *,
    triggers: Iterable[Trigger] | None = None,
    record: SiteRecord | None = None,
) -> tuple[list[Point], list[TriggerLine]]:
    """A site's visits and its trigger lines as the chart wants them.

    `triggers` are the site's and `record` is its record by this index, where the page has read them already.
    """
    record = record or site_record(site, index)
    lines = trigger_lines(triggers_of(site) if triggers is None else triggers, index)
    points = [_point(each, record.verdicts.get(each.visit_id), index) for each in record.history]
    # Where there is no trigger, "not tested" would say nothing of any one visit.
    return (points if lines else [replace(point, tested=True) for point in points]), lines


def site_rows(points: list[Point], lines: list[TriggerLine]) -> list[HistoryRow]:
    """The table behind the chart."""
    return history_rows(points, lines, lang=get_language() or "en")


def _point(visit: HistoryPoint, verdict: Judged | None, index: str) -> Point:
    """A verdict on another index says nothing of this one."""
    tested = verdict is not None and verdict.outcome != Verdict.Outcome.NOT_TESTED
    is_its_own = verdict is not None and verdict.index == index
    below = verdict is not None and verdict.outcome == Verdict.Outcome.BELOW
    return Point(
        when=visit.when,
        value=visit.value,
        low=visit.low,
        high=visit.high,
        tested=tested and is_its_own,
        below=below and is_its_own,
        standard=visit.is_standard,
    )


def trigger_lines(triggers: Iterable[Trigger], index: str) -> list[TriggerLine]:
    """Each trigger holds until the day before the next one; of two set for one day the later is the rule."""
    by_day = {each.valid_from: each for each in triggers}
    in_order = [by_day[day] for day in sorted(by_day)]
    ends: list[date | None] = [following.valid_from - timedelta(days=1) for following in in_order[1:]]
    lines = zip(in_order, [*ends, None], strict=False)
    return [TriggerLine(each.level, each.valid_from, until) for each, until in lines if each.index == index]
