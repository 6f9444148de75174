"""The British and the Irish national grid: letters, squares, and the way from and to WGS84.

Projection by pyproj: EPSG:27700 (British) and EPSG:29903 (Irish). The change of datum is the seven-parameter
shift, pinned here so that every machine answers alike: about 5 m off in Britain, where the exact OSTN15 grid of
the Ordnance Survey is not shipped with pyproj, and about 1 m in Ireland.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from pyproj import CRS, Transformer
from pyproj.crs import BoundCRS
from pyproj.crs.coordinate_operation import ToWGS84Transformation

# Both grids leave out the letter I.
LETTERS = "ABCDEFGHJKLMNOPQRSTUVWXYZ"
SQUARE_M = 100_000


@dataclass(frozen=True)
class Grid:
    """One national grid. `shift` is the datum shift in metres, arc seconds and parts per million.

    `land` names the 100 km squares that hold land; the others are open sea.
    """

    name: str
    epsg: int
    shift: tuple[float, float, float, float, float, float, float]
    land: frozenset[str]


# Second letters of the squares with land by their first letter: from memory.
BRITISH_LAND = {
    "H": "PTUWXYZ",
    "N": "ABCDFGHJKLMNORSTUWXYZ",
    "O": "V",
    "S": "CDEHJKMNOPRSTUVWXYZ",
    "T": "AFGLMQRV",
}
# Shift: EPSG:1314, "OSGB36 to WGS 84 (6)".
BRITISH = Grid(
    "British",
    27700,
    (446.448, -125.157, 542.06, 0.15, 0.247, 0.842, -20.489),
    frozenset(first + second for first, seconds in BRITISH_LAND.items() for second in seconds),
)
# Shift: EPSG:1954, "TM75 to WGS 84 (2)". Squares with land: from memory.
IRISH = Grid(
    "Irish", 29903, (482.5, -130.6, 564.6, -1.042, -0.214, -0.631, 8.15), frozenset("BCDFGHJLMNOQRSTVWX")
)
GRIDS: Mapping[int, Grid] = MappingProxyType({2: BRITISH, 1: IRISH})

# How far east the island of Ireland reaches, by latitude: (up to it, easternmost longitude), degrees.
# Drawn through the middle of the sea, with Kintyre, Galloway and Pembrokeshire on the other side.
IRISH_EAST_LIMITS = ((53.7, -5.8), (55.0, -5.36), (55.25, -5.65), (55.46, -6.1))
IRISH_SOUTH, IRISH_WEST = 51.35, -10.8
BRITISH_SOUTH, BRITISH_NORTH = 49.82, 60.95
# East of this and south of 51.1 the grid covers France.
KENT_EAST, KENT_SOUTH = 1.5, 51.1


def grid_at(latitude: float, longitude: float) -> Grid | None:
    """The grid in use at a place given in WGS84 degrees; None outside Great Britain, Man and Ireland."""
    if _in_ireland(latitude, longitude):
        return IRISH
    in_france = latitude < KENT_SOUTH and longitude > KENT_EAST
    if in_france or not BRITISH_SOUTH <= latitude <= BRITISH_NORTH:
        return None
    return BRITISH if _square_at(BRITISH, latitude, longitude) else None


def _in_ireland(latitude: float, longitude: float) -> bool:
    if latitude < IRISH_SOUTH or longitude < IRISH_WEST:
        return False
    east = next((limit for north, limit in IRISH_EAST_LIMITS if latitude <= north), None)
    return east is not None and longitude <= east


def _square_at(grid: Grid, latitude: float, longitude: float) -> str:
    easting, northing = to_grid(grid, latitude, longitude)
    letters = letters_of(grid, int(easting // SQUARE_M), int(northing // SQUARE_M))
    return letters if letters in grid.land else ""


def corner_of(grid: Grid, letters: str) -> tuple[int, int]:
    """Easting and northing in metres of the south-west corner of a 100 km square.

    The first British letter names a block of 500 km, the second a square in it.
    """
    places = [divmod(LETTERS.index(each), 5) for each in letters]
    row, column = places[-1]
    if grid is IRISH:
        return column * SQUARE_M, (4 - row) * SQUARE_M
    block_row, block_column = places[0]
    return ((block_column - 2) * 5 + column) * SQUARE_M, ((3 - block_row) * 5 + 4 - row) * SQUARE_M


@cache
def _squares(grid: Grid) -> Mapping[tuple[int, int], str]:
    corners = {letters: corner_of(grid, letters) for letters in grid.land}
    return {(east // SQUARE_M, north // SQUARE_M): letters for letters, (east, north) in corners.items()}


def letters_of(grid: Grid, column: int, row: int) -> str:
    """Letters of the 100 km square in that column and row; empty where there is no land."""
    return _squares(grid).get((column, row), "")


@cache
def _transformer(grid: Grid) -> Transformer:
    national = CRS.from_epsg(grid.epsg)
    assert national.geodetic_crs is not None
    shift = ToWGS84Transformation(national.geodetic_crs, *grid.shift)
    bound = BoundCRS(source_crs=national, target_crs=CRS.from_epsg(4326), transformation=shift)
    return Transformer.from_crs(CRS.from_epsg(4326), bound, always_xy=True)


def to_grid(grid: Grid, latitude: float, longitude: float) -> tuple[float, float]:
    """Easting and northing in metres of a place given in WGS84 degrees."""
    easting, northing = _transformer(grid).transform(longitude, latitude)
    return easting, northing


def to_degrees(grid: Grid, easting: float, northing: float) -> tuple[float, float]:
    """WGS84 latitude and longitude in degrees of a point of the grid, given in metres."""
    longitude, latitude = _transformer(grid).transform(easting, northing, direction="INVERSE")
    return latitude, longitude
