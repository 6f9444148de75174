"""The river about a low visit: drawn, as a list, and in words, all from one reading."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from alerts.charts.drawn_once import drawn_once
from alerts.models import Incident, Verdict
from alerts.river.neighbours import Neighbour, RiverSites, river_sites
from alerts.river.stretch import Stretch, find_stretches, mislead_words, stretch_words
from portal.charts import Drawing, RiverPlace, draw_river, river_words
from scoring.indices.methods import METHODS, Method
from surveys.models import Visit

WIDE, NARROW = 460, 340


@dataclass(frozen=True)
class River:
    """`places` are for the drawing, uppermost first; `sites` the others of the group that stand in it, nearest
    first; `words` say where the cause most likely lies and `cautions` what could mislead. Both are empty for a
    visit that is not low.
    """

    title: str
    places: list[RiverPlace]
    sites: list[Neighbour]
    words: list[str]
    cautions: list[str]

    def drawing(self, width: int = WIDE) -> Drawing:
        """The line of the river as SVG, `width` pixels wide."""
        lang = get_language() or "en"
        told = " ".join(self.words)
        return drawn_once(draw_river, self.places, title=self.title, told=told, width=width, lang=lang)

    @property
    def told(self) -> str:
        """What the drawing shows, for the picture in an e-mail."""
        lang = get_language() or "en"
        return river_words(self.places, title=self.title, told=" ".join(self.words), lang=lang)

    @property
    def narrow(self) -> Drawing:
        """The same for a phone."""
        return self.drawing(NARROW)


def river_drawing(incident: Incident) -> River | None:
    """The river about an incident's latest low visit; None where no visit of it stands on a trigger."""
    visits = incident.visits.select_related("verdict__trigger", "site", "group")
    for visit in visits.order_by("-visited_on", "-submitted_at"):
        if visit.verdict.trigger is not None:
            return river_of(visit, METHODS[visit.verdict.trigger.index], visit.verdict)
    return None


def river_of(visit: Visit, method: Method, verdict: Verdict) -> River:
    """The river about one visit; `method` is that of its trigger (one query)."""
    found = river_sites(visit, method)
    is_low = verdict.outcome == Verdict.Outcome.BELOW
    stretches = find_stretches(found.here) if is_low else []
    return River(
        title=_("The river at %(site)s") % {"site": visit.site},
        places=_places(found, stretches),
        sites=_others(found),
        words=stretch_words(found.here, stretches),
        cautions=mislead_words(found.here, stretches) if is_low else [],
    )


def _drawn(site: Neighbour, is_here: bool = False) -> list[Neighbour]:
    """What stands above a site in the drawing: beyond a site that was normal, nothing bears on the fall."""
    return site.above if is_here or not site.is_normal else []


def _others(found: RiverSites) -> list[Neighbour]:
    level, others = _drawn(found.here, True), []
    while level:
        others += level
        level = [each for site in level for each in _drawn(site)]
    return [*others, found.below] if found.below else others


def _places(found: RiverSites, stretches: list[Stretch]) -> list[RiverPlace]:
    ordered, into = _in_order(found)
    in_stretch = {id(each) for stretch in stretches for each in (*stretch.uppers, *stretch.unknown)}
    opens = {id(each) for stretch in stretches for each in stretch.opens}
    rows = {id(each): row for row, each in enumerate(ordered)}
    return [
        RiverPlace(
            name=each.site.name,
            state=each.state,
            score=f"{each.index} {each.score}".strip(),
            when=each.when,
            is_old=each.is_old,
            into=rows.get(into[id(each)]) if id(each) in into else None,
            is_here=each is found.here,
            in_stretch=id(each) in in_stretch,
            opens_up=id(each) in opens,
        )
        for each in ordered
    ]


def _in_order(found: RiverSites) -> tuple[list[Neighbour], dict[int, int]]:
    """The sites as they are drawn, each after all that flows into it, and into which each flows."""
    ordered: list[Neighbour] = []
    into: dict[int, int] = {}

    def walk(site: Neighbour) -> None:
        for each in _drawn(site, site is found.here):
            into[id(each)] = id(site)
            walk(each)
        ordered.append(site)

    walk(found.here)
    if found.below:
        into[id(found.here)] = id(found.below)
        ordered.append(found.below)
    return ordered, into
