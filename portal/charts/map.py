"""Sites and rivers as a map on ground of its own: no tiles, no script, nothing fetched from anybody.

Equirectangular about the sites' middle latitude, north up: true to a few parts in a thousand over a catchment.
Where a tile server is named, its pictures lie below and the places follow its projection instead.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal
from xml.etree.ElementTree import Element, SubElement

from portal.charts import marks
from portal.charts.courses import courses, draw_course, order_downstream
from portal.charts.labels import Box, Place, box_about, clear_box, width_of
from portal.charts.marks import SWATCH, Key, legend_rows
from portal.charts.svg import Drawing, canvas, clean, finish, number, put, write
from portal.charts.tiles import Tiles, World, lay_tiles
from portal.charts.words import Words, words_for

MapState = Literal["normal", "below", "untested", "unscored", "unvisited"]
STATES: tuple[MapState, ...] = ("normal", "below", "untested", "unscored", "unvisited")
OLD = "old"
CODE, RIVER = "text-map", "text-river"
CROWD = 20  # sites; among more than these not every code has room on a phone, and rivers are named first

# As wide as a phone: the words of a wider map would be too small to read there.
WIDTH, TALLEST, LOWEST, EDGE = 360.0, 400.0, 170.0, 46.0
# For many sites on a screen that has the room: the codes find a place beside their marks.
WIDE, WIDE_TALLEST = 720.0, 640.0
# Metres in a degree of latitude; a sphere is near enough for a map of a catchment.
DEGREE = 111_320.0
LEAST_SPAN = 400.0  # metres: a single site is not drawn at the scale of a garden
ROUND_LENGTHS = (50, 100, 200, 500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000, 100_000, 200_000, 500_000)
RADIUS, REACH = 6.5, 14.0  # of a mark, and of what a finger hits
APART = 16.0  # how far the marks of one rounded place stand from it, pixels


@dataclass(frozen=True)
class MapSite:
    """One site: WGS84 degrees, how its latest visit stood, and where its mark leads (``href``, may be empty).

    ``downstream`` is the ``key`` of the site that its water comes to next, empty where none is known. ``score``
    is text ("BMWP 74"). A site that ``is_aside`` is drawn small, without a name: it stands on another page.
    """

    key: str
    code: str
    name: str
    river: str
    latitude: float
    longitude: float
    state: MapState
    score: str = ""
    when: date | None = None
    is_old: bool = False
    downstream: str = ""
    href: str = ""
    is_aside: bool = False


@dataclass(frozen=True)
class _Label:
    """What is written beside a mark: its style, its text, and where."""

    style: str
    text: str
    box: Box


@dataclass(frozen=True)
class _Sheet:
    """Where all stands on paper: pixels by the sites' keys, pixels in a metre, the size, and the world."""

    places: Mapping[str, Place]
    scale: float
    width: float
    height: float
    world: World


def draw_map(
    sites: Sequence[MapSite],
    *,
    title: str,
    description: str,
    lang: str = "en",
    tiles: Tiles | None = None,
    is_to_scale: bool = True,
    is_wide: bool = False,
) -> Drawing:
    """The sites as an accessible SVG, 360 pixels wide (720 with `is_wide`) and as high as they need.

    ``title`` says whose sites they are, ``description`` how to read it. Marks that lead somewhere are links, in
    the order of the water. Raises ValueError without a site.
    """
    if not sites:
        raise ValueError("a map needs at least one site")
    words, ordered = words_for(lang), down_the_river(sites)
    sheet = _on_paper(ordered, like_tiles=tiles is not None, is_wide=is_wide)
    rows, labels = legend_rows(_keys(ordered, words), sheet.width - 12), _labels(ordered, sheet)
    lines = len(rows) + _leaves_out(ordered, labels)
    size = (sheet.width, sheet.height + marks.ROW * lines + 6)
    root = canvas(*size, title=title, desc=description, lang=words.lang, kind="map")
    if any(site.href for site in sites):
        # An image holds no links; a group is read through.
        root.set("role", "group")
    put(root, "rect", "window", x=0, y=0, width=sheet.width, height=sheet.height)
    if tiles:
        lay_tiles(root, tiles, sheet.world, sheet.width, sheet.height)
    for course in courses({site.key: site.downstream for site in ordered}):
        draw_course(root, [sheet.places[key] for key in course])
    _draw_sites(root, ordered, sheet, words)
    _name(root, labels)
    if is_to_scale:
        _scale_bar(root, sheet)
    _north(root, sheet.width)
    _legend(root, rows, sheet.height + 3)
    if lines > len(rows):
        write(root, 6, sheet.height + marks.ROW * (lines - 0.5) + 7.5, words.codes_left_out)
    return finish(root)


def down_the_river(sites: Sequence[MapSite]) -> list[MapSite]:
    """The sites as water passes them, branches before the river they join."""
    by_key = {site.key: site for site in sites}
    return [by_key[key] for key in order_downstream({site.key: site.downstream for site in sites})]


def stood_words(site: MapSite, lang: str = "en") -> str:
    """How a site stood, in words: "below the trigger (old)"."""
    words = words_for(lang)
    word = state_word_of(site.state, words)
    return f"{word} ({words.old_visit})" if site.is_old else word


def site_words(site: MapSite, lang: str = "en") -> str:
    """A site in one phrase: "AB1 Old Ford, normal: BMWP 74, 3 May 2026"."""
    words = words_for(lang)
    told = ", ".join(filter(None, (site.score, words.day(site.when) if site.when else "")))
    return f"{site.code} {site.name}, {stood_words(site, lang)}" + (f": {told}" if told else "")


def state_word_of(state: MapState, words: Words) -> str:
    """The word for a state as the map says it."""
    return words.below if state == "below" else str(getattr(words, f"site_{state}"))


def _keys(sites: Sequence[MapSite], words: Words) -> list[Key]:
    """What is drawn, and nothing else, with its word."""
    shown = {site.state for site in sites}
    keys = [Key(state, state_word_of(state, words)) for state in STATES if state in shown]
    return [*keys, Key(OLD, words.old_visit)] if any(site.is_old for site in sites) else keys


def _on_paper(sites: Sequence[MapSite], *, like_tiles: bool, is_wide: bool) -> _Sheet:
    width, tallest = (WIDE, WIDE_TALLEST) if is_wide else (WIDTH, TALLEST)
    middle = (min(site.latitude for site in sites) + max(site.latitude for site in sites)) / 2
    shrink = max(0.01, math.cos(math.radians(middle)))
    metres = {
        site.key: (site.longitude * DEGREE * shrink, -_northing(site.latitude, shrink, like_tiles))
        for site in sites
    }
    left, right, top, bottom = _bounds(list(metres.values()))
    scale = min((width - 2 * EDGE) / (right - left), (tallest - 2 * EDGE) / (bottom - top))
    height = max(LOWEST, (bottom - top) * scale + 2 * EDGE)
    x0 = (width - (right + left) * scale) / 2
    y0 = (height - (bottom + top) * scale) / 2
    places = {key: (x0 + x * scale, y0 + y * scale) for key, (x, y) in metres.items()}
    half = 180 * DEGREE * shrink * scale
    return _Sheet(_set_apart(places), scale, width, height, World(x0 - half, y0 - half, 2 * half))


def _northing(latitude: float, shrink: float, like_tiles: bool) -> float:
    """Metres from the equator, as long as they are at the middle of the map."""
    if not like_tiles:
        return latitude * DEGREE
    bounded = math.radians(max(-85.0, min(85.0, latitude)))
    return math.degrees(math.asinh(math.tan(bounded))) * DEGREE * shrink


def _bounds(metres: Sequence[Place]) -> tuple[float, float, float, float]:
    """Left, right, top and bottom, never closer together than a map can bear."""
    xs, ys = [x for x, _ in metres], [y for _, y in metres]
    wide, high = max(0.0, LEAST_SPAN - (max(xs) - min(xs))) / 2, max(0.0, LEAST_SPAN - (max(ys) - min(ys))) / 2
    return min(xs) - wide, max(xs) + wide, min(ys) - high, max(ys) + high


def _set_apart(places: Mapping[str, Place]) -> dict[str, Place]:
    """Marks that were rounded to one place stand in a ring about it, so that none hides another."""
    together: dict[Place, list[str]] = defaultdict(list)
    for key, (x, y) in places.items():
        together[(round(x), round(y))].append(key)
    found = dict(places)
    for keys in together.values():
        reach = APART if len(keys) < 7 else APART * len(keys) / 6
        for number_, key in enumerate(keys if len(keys) > 1 else ()):
            turn = 2 * math.pi * number_ / len(keys)
            x, y = places[key]
            found[key] = (x + reach * math.sin(turn), y - reach * math.cos(turn))
    return found


def _draw_sites(root: Element, sites: Sequence[MapSite], sheet: _Sheet, words: Words) -> None:
    for site in sites:
        place = sheet.places[site.key]
        if site.is_aside:
            put(root, "circle", "aside", cx=place[0], cy=place[1], r=3)
            continue
        group = _anchor(root, site, words)
        put(group, "circle", "reach", cx=place[0], cy=place[1], r=REACH)
        _mark(group, site.state, *place)
        if site.is_old:
            put(group, "circle", OLD, cx=place[0], cy=place[1], r=RADIUS + 4.5)


def _labels(sites: Sequence[MapSite], sheet: _Sheet) -> list[_Label]:
    """Codes beside the marks and rivers' names, without those that would hide others or marks."""
    taken: list[Box] = [box_about(place, RADIUS + 3) for place in sheet.places.values()]
    taken.append((sheet.width - 36, 0, sheet.width, 64))
    named = [site for site in sites if not site.is_aside]
    # In a crowd a code that is further off would be read as that of another mark.
    reach = 1 if len(named) > CROWD else 3
    found = []
    for style, text, keys in _wanted(named):
        wide = width_of(text, is_bold=style == CODE)
        places = [sheet.places[key] for key in keys]
        if box := clear_box(wide, places, taken, (sheet.width, sheet.height), reach=reach):
            taken.append(box)
            found.append(_Label(style, text, box))
    return found


def _wanted(sites: Sequence[MapSite]) -> list[tuple[str, str, Sequence[str]]]:
    """Style, text and sites beside which it may stand; first what must not be missing where room is scarce."""
    rivers: dict[str, list[str]] = defaultdict(list)
    for site in sites:
        rivers[site.river].append(site.key)
    low = [(CODE, site.code, [site.key]) for site in sites if site.state == "below"]
    others = [(CODE, site.code, [site.key]) for site in sites if site.state != "below"]
    names = [(RIVER, river, keys) for river, keys in rivers.items()]
    return [*low, *names, *others] if len(sites) > CROWD else [*low, *others, *names]


def _leaves_out(sites: Sequence[MapSite], labels: Sequence[_Label]) -> bool:
    """Whether a site has no code beside its mark."""
    codes = sum(label.style == CODE for label in labels)
    return codes < sum(not site.is_aside for site in sites)


def _name(root: Element, labels: Sequence[_Label]) -> None:
    groups = {style: put(root, "g", style, text_anchor="middle") for style in (CODE, RIVER)}
    for label in labels:
        at = {"x": number((label.box[0] + label.box[2]) / 2), "y": number(label.box[3] - 3)}
        SubElement(groups[label.style], "text", at).text = clean(label.text)


def _anchor(root: Element, site: MapSite, words: Words) -> Element:
    told = clean(site_words(site, words.lang))
    attributes = {"href": site.href, "class": "rb-place"} if site.href else {}
    group = SubElement(root, "a" if site.href else "g", attributes)
    SubElement(group, "title").text = told
    return group


def _mark(parent: Element, state: MapState, x: float, y: float) -> None:
    if state == "unscored":
        # A cross on a line would look like part of it.
        put(parent, "circle", "earlier", cx=x, cy=y, r=RADIUS + 4)
    if state == "unvisited":
        put(parent, "rect", state, x=x - RADIUS, y=y - RADIUS, width=2 * RADIUS, height=2 * RADIUS)
    else:
        marks.mark(parent, state, x, y, RADIUS)


def _scale_bar(root: Element, sheet: _Sheet) -> None:
    length = next((each for each in ROUND_LENGTHS if each * sheet.scale > 60), ROUND_LENGTHS[-1])
    y, right = sheet.height - 16, 14 + length * sheet.scale
    put(root, "line", "axis", x1=14, x2=right, y1=y, y2=y)
    for x in (14.0, right):
        put(root, "line", "axis", x1=x, x2=x, y1=y - 4, y2=y + 4)
    write(root, right + 8, y + 4, f"{length} m", "text-map")


def _north(root: Element, width: float) -> None:
    x = width - 22
    put(root, "path", "center", d=f"M{number(x)} 44V14M{number(x - 6)} 23L{number(x)} 13L{number(x + 6)} 23")
    write(root, x, 58, "N", "text-map", "middle")


def _legend(root: Element, rows: Sequence[Sequence[tuple[float, Key]]], top: float) -> None:
    for x, y, key in _placed(rows, top):
        if key.style == OLD:
            put(root, "circle", OLD, cx=x + 11, cy=y, r=7)
        else:
            _mark(root, key.style, x + 11, y)  # type: ignore[arg-type]
        write(root, x + SWATCH, y + 4.5, key.label)


def _placed(rows: Sequence[Sequence[tuple[float, Key]]], top: float) -> Iterator[tuple[float, float, Key]]:
    for index, row in enumerate(rows):
        yield from ((6 + x, top + marks.ROW * (index + 0.5), key) for x, key in row)
