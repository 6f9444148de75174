"""Where a site is, in the ways people look for it."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings

from surveys.models import Site
from surveys.places.locations import grid_reference


@dataclass(frozen=True)
class Place:
    """Where a site is, in the ways people look for it: WGS84 degrees, national grid, a link to a map."""

    degrees: str
    grid: str | None
    map_url: str
    precision_m: int


def place_of(site: Site) -> Place:
    """The site's place; its grid reference is cut to what the precision of the location bears."""
    figures = 8 if site.location_precision_m <= 10 else 6 if site.location_precision_m <= 100 else 4
    return Place(
        degrees=f"{site.latitude:.5f}, {site.longitude:.5f}",
        grid=grid_reference(site.latitude, site.longitude, figures),
        map_url=settings.MAP_LINK.format(lat=f"{site.latitude:.5f}", lon=f"{site.longitude:.5f}"),
        precision_m=site.location_precision_m,
    )
