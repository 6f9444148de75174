"""Drawings of scores over time: pure Python, no Django; one drawing for page, e-mail and PDF.

``draw_history`` draws the visits of a site, ``draw_season`` its pattern over the months, ``draw_spread`` how
its scores lie about a level, ``draw_control`` a control chart, ``draw_river`` the sites along a river,
``draw_map`` the sites as they lie, ``draw_profile`` their scores down the river, ``sparkline`` the small one
for lists. All return SVG that stands alone; ``stacked`` sets some of them below each other; ``to_png`` makes
the picture for e-mail. ``history_rows`` gives the table that stands behind a chart.
"""

from portal.charts.control import ControlPoint, control_state, draw_control
from portal.charts.history import HistoryRow, draw_history, history_rows
from portal.charts.map import MapSite, down_the_river, draw_map, site_words, stood_words
from portal.charts.points import Point, TriggerLine
from portal.charts.profile import ProfileWords, Station, draw_profile
from portal.charts.raster import to_png
from portal.charts.river import RiverPlace, draw_river, river_words, state_word
from portal.charts.season import draw_season
from portal.charts.spark import sparkline
from portal.charts.spread import draw_spread
from portal.charts.svg import Drawing, stacked
from portal.charts.tiles import Tiles

__all__ = [
    "ControlPoint",
    "Drawing",
    "HistoryRow",
    "MapSite",
    "Point",
    "ProfileWords",
    "RiverPlace",
    "Station",
    "Tiles",
    "TriggerLine",
    "control_state",
    "down_the_river",
    "draw_control",
    "draw_history",
    "draw_map",
    "draw_profile",
    "draw_river",
    "draw_season",
    "draw_spread",
    "history_rows",
    "river_words",
    "site_words",
    "sparkline",
    "stacked",
    "state_word",
    "stood_words",
    "to_png",
]
