"""The river as a simple line from top to bottom: its sites, how each stood last, and a stretch in question."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from xml.etree.ElementTree import Element, SubElement

from portal.charts import marks
from portal.charts.marks import Key
from portal.charts.points import State
from portal.charts.svg import Drawing, canvas, clean, finish, number, put, text_width, write
from portal.charts.words import Words, words_for

ROW, COLUMN, LEFT, TOP, END = 48.0, 26.0, 20.0, 6.0, 26.0
NARROWEST = 200
HIDDEN_BY_MARKS = 14.0  # a branch joins the river this far above the site below, pixels


@dataclass(frozen=True)
class RiverPlace:
    """One site. ``into`` is the place in the list that its water comes to next, None for the lowest.

    ``score`` is text ("BMWP score 74"), empty where there is none. ``in_stretch`` marks the water from here to
    ``into``, ``opens_up`` the water above the site, as the stretch in question.
    """

    name: str
    state: State
    score: str = ""
    when: date | None = None
    is_old: bool = False
    into: int | None = None
    is_here: bool = False
    in_stretch: bool = False
    opens_up: bool = False


@dataclass(frozen=True)
class _Spot:
    place: RiverPlace
    x: float
    y: float


def draw_river(
    places: Sequence[RiverPlace], *, title: str, told: str = "", width: int = 460, lang: str = "en"
) -> Drawing:
    """The sites of a river, uppermost first, as an accessible SVG; as high as they need.

    Each site comes before the one it flows into, and a branch before the site that it joins. ``title`` says
    whose river it is and ``told`` what it shows; the sites are named between them. Raises ValueError below 200
    pixels, without a site, and where a site flows back to an earlier one.
    """
    if width < NARROWEST or not places:
        raise ValueError("a river needs at least one site and 200 pixels")
    if any(place.into is not None and place.into <= row for row, place in enumerate(places)):
        raise ValueError("a site cannot flow into one above it")
    words = words_for(lang)
    rows = marks.legend_rows(_keys(places, words), width - 12)
    bottom = TOP + ROW * len(places) + END
    name = river_words(places, title=title, told=told, lang=lang)
    size = (width, bottom + marks.ROW * len(rows))
    root = canvas(*size, title=name, desc=words.how_to_read_river, lang=words.lang, kind="river")
    _draw(root, _spots(places), width, words)
    marks.legend(root, rows, 6, bottom - 4)
    return finish(root)


def river_words(places: Sequence[RiverPlace], *, title: str, told: str = "", lang: str = "en") -> str:
    """The drawing in words, for a title, for an e-mail's picture and for those who do not see it."""
    sites = "; ".join(place_words(each, words_for(lang)) for each in places)
    return f"{title}: {sites}. {told}".strip()


def place_words(place: RiverPlace, words: Words) -> str:
    """A site in one phrase: "Old Ford, normal: BMWP score 74, 3 May 2026"."""
    return f"{place.name}, {_stood(place, words)}"


def state_word(state: State, *, lang: str = "en") -> str:
    """The word for how a site stood at its latest visit."""
    return str(getattr(words_for(lang), f"site_{state}"))


def _stood(place: RiverPlace, words: Words) -> str:
    if place.when is None:
        return words.site_unvisited
    age = f" ({words.old_visit})" if place.is_old else ""
    score = f"{place.score}, " if place.score else ""
    # The state first: what does not fit is cut off at the end.
    return f"{getattr(words, f'site_{place.state}')}: {score}{words.day(place.when)}{age}"


def _keys(places: Sequence[RiverPlace], words: Words) -> list[Key]:
    in_question = any(place.in_stretch or place.opens_up for place in places)
    return [Key("stretch", words.stretch)] if in_question else []


def _spots(places: Sequence[RiverPlace]) -> list[_Spot]:
    """A column to each branch; where branches meet, the river goes on in the first of them."""
    columns: list[int] = []
    for row in range(len(places)):
        above = [columns[other] for other in range(row) if places[other].into == row]
        columns.append(min(above) if above else max(columns, default=-1) + 1)
    return [
        _Spot(place, LEFT + COLUMN * columns[row], TOP + ROW * (row + 0.5)) for row, place in enumerate(places)
    ]


def _draw(root: Element, spots: Sequence[_Spot], width: float, words: Words) -> None:
    fed = {spot.place.into for spot in spots}
    for row, spot in enumerate(spots):
        if spot.place.opens_up or row not in fed:
            _water(root, f"M{number(spot.x)} {number(spot.y - 24)}V{number(spot.y)}", spot.place.opens_up)
        if spot.place.into is not None:
            _water(root, _course(spot, spots[spot.place.into]), spot.place.in_stretch)
    _mouth(root, spots[-1], words)
    left = max(spot.x for spot in spots) + 20
    for spot in spots:
        _site(root, spot, left, width, words)


def _water(root: Element, course: str, in_question: bool) -> None:
    if in_question:
        put(root, "path", "stretch", d=course)
    put(root, "path", "river", d=course)


def _course(upper: _Spot, lower: _Spot) -> str:
    start = f"M{number(upper.x)} {number(upper.y)}"
    if upper.x == lower.x:
        return f"{start}V{number(lower.y)}"
    join = lower.y - HIDDEN_BY_MARKS
    return f"{start}V{number(join - 16)}L{number(lower.x)} {number(join)}V{number(lower.y)}"


def _mouth(root: Element, last: _Spot, words: Words) -> None:
    """The arrow in which the river leaves the drawing."""
    x, tip = last.x, last.y + 40
    put(root, "path", "river", d=f"M{number(x)} {number(last.y)}V{number(tip)}")
    head = f"M{number(x - 6)} {number(tip - 8)}L{number(x)} {number(tip)}L{number(x + 6)} {number(tip - 8)}"
    put(root, "path", "river", d=head)
    write(root, x + 14, tip, words.flow, "text-soft")


def _site(root: Element, spot: _Spot, left: float, width: float, words: Words) -> None:
    place, group = spot.place, SubElement(root, "g")
    SubElement(group, "title").text = clean(place_words(place, words))
    if place.is_here:
        put(group, "circle", "here", cx=spot.x, cy=spot.y, r=11)
    elif place.state == "unscored":
        # A cross on a line would look like part of it.
        put(group, "circle", "earlier", cx=spot.x, cy=spot.y, r=10)
    marks.mark(group, place.state, spot.x, spot.y, 5.5)
    name = _short(place.name, width - left, 14)
    write(group, left, spot.y - 3, name, "text-strong" if place.is_here else "text")
    write(group, left, spot.y + 14, _short(_stood(place, words), width - left, 12), "text-soft")


def _short(text: str, room: float, size: float) -> str:
    """What fits; the whole stands in the drawing's name and in the words beside it."""
    fits = int(room / text_width("m", size))
    return text if len(text) <= fits else f"{text[: fits - 1].rstrip()}…"
