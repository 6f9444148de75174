"""Maps: where they lead and whose pictures they show."""

from urllib.parse import urlsplit

from portal.settings.environment import env

# Where "show on a map" in alerts leads; {lat} and {lon} are WGS84 degrees.
MAP_LINK: str = env.str("MAP_LINK", "https://www.openstreetmap.org/?mlat={lat}&mlon={lon}#map=16/{lat}/{lon}")
# Pictures below the maps of sites: an address with {z}, {x} and {y}, and whom to name. Empty: none are fetched.
MAP_TILES: str = env.str("MAP_TILES", default="")
MAP_TILES_ATTRIBUTION: str = env.str("MAP_TILES_ATTRIBUTION", default="")


def hosts_of(tiles: str) -> list[str]:
    """Scheme and host that pictures may come from besides the portal: those of the tile server, if any."""
    parts = urlsplit(tiles)
    return [f"{parts.scheme}://{parts.netloc}"] if parts.netloc else []
