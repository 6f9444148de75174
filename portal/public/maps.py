"""Maps of a group's sites as pages show them: places as exactly as their readers may know them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass
from uuid import UUID

from django.conf import settings
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from alerts.charts.drawn_once import drawn_once
from portal.charts import Drawing, MapSite, Tiles, draw_map, stood_words
from portal.charts.map import CROWD, down_the_river
from portal.public.results import Result
from surveys.exporting.darwin.dataset import Dataset
from surveys.exporting.models import Blur, PublishingTerms

Href = Callable[[Result], str]
# More marks than these hide one another.
MOST_MARKS = 100
# Among so many sites some codes find no room on a drawing as wide as a phone, and do on a wide one. Of more,
# two drawings would make a page too heavy.
MANY = range(CROWD + 1, 61)


@dataclass(frozen=True)
class MapRow:
    """One line of the list beside a map."""

    result: Result
    href: str
    words: str


@dataclass(frozen=True)
class SiteMap:
    """A drawing with the list that says the same; `blurs` say in words how places are rounded.

    `wide` is the same for a screen with more room, where there are many sites. `left_out` is the number of
    sites beyond `MOST_MARKS`, which are not drawn.
    """

    drawing: Drawing
    wide: Drawing | str
    rows: Sequence[MapRow]
    blurs: Sequence[str]
    attribution: str
    left_out: int = 0


def exact_map(results: Sequence[Result], href: Href, *, title: str) -> SiteMap | None:
    """For members, who know the places; None without a site."""
    return site_map(results, href, {}, title=title)


def site_map(
    results: Sequence[Result],
    href: Href,
    terms: Mapping[UUID, PublishingTerms],
    *,
    title: str,
    shown: Sequence[Result] | None = None,
) -> SiteMap | None:
    """A map of all results, with links and lines for those `shown` (all, if not given).

    `terms` of each group by its id say how exactly its places are told: the map rounds as an archive does.
    """
    if not results:
        return None
    here = {each.site.pk for each in (results if shown is None else shown)}
    every, results = len(results), _most(results, here)
    lang = get_language() or "en"
    links = {each.site.pk: href(each) for each in results if each.site.pk in here}
    places = [_map_site(each, terms.get(each.site.group_id), links.get(each.site.pk, "")) for each in results]
    tiles = Tiles(settings.MAP_TILES) if settings.MAP_TILES else None
    by_key = {str(each.site.pk): each for each in results}
    rows = [
        MapRow(by_key[each.key], each.href, stood_words(each, lang))
        for each in down_the_river(places)
        if not each.is_aside
    ]

    def drawn(*, is_wide: bool) -> Drawing:
        words = _how_to_read()
        return drawn_once(
            draw_map, places, title=title, description=words, lang=lang, tiles=tiles, is_wide=is_wide
        )

    return SiteMap(
        drawing=drawn(is_wide=False),
        wide=drawn(is_wide=True) if len(places) in MANY else "",
        rows=rows,
        blurs=[str(Blur(blur).label) for blur in sorted({each.blur for each in terms.values() if each.blur})],
        attribution=settings.MAP_TILES_ATTRIBUTION if tiles else "",
        left_out=every - len(results),
    )


def _most(results: Sequence[Result], here: Set[UUID]) -> list[Result]:
    """As many as one map can hold, those that the page is about before others; in the order given."""
    first = sorted(results, key=lambda each: each.site.pk not in here)[:MOST_MARKS]
    kept = {each.site.pk for each in first}
    return [each for each in results if each.site.pk in kept]


def _how_to_read() -> str:
    return _(
        "Each mark is a site; its shape says how its latest visit stood, as the key below tells. Lines join "
        "each site to the next one downstream and are not the river's true course. North is up. The list "
        "beside the map says the same."
    )


def _map_site(result: Result, terms: PublishingTerms | None, href: str) -> MapSite:
    site = result.site
    latitude, longitude = site.latitude, site.longitude
    if terms is not None:
        place = Dataset(terms.group, terms, "").place_of(site)
        latitude, longitude = float(place.latitude), float(place.longitude)
    return MapSite(
        key=str(site.pk),
        code=site.code,
        name=site.name,
        river=site.river,
        latitude=latitude,
        longitude=longitude,
        state=result.state,
        score=result.score,
        when=result.when,
        is_old=result.is_old,
        downstream=str(site.downstream_id or ""),
        href=href,
        is_aside=not href,
    )
