"""Reading a location as a volunteer types it: degrees, or a British or Irish grid reference.

A grid reference names the south-west corner of a square; the location returned is the middle of that square,
and its precision is the length of the square's side.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass

from django.utils.translation import gettext as _

from surveys.places.grids import (
    BRITISH,
    GRIDS,
    LETTERS,
    SQUARE_M,
    Grid,
    corner_of,
    grid_at,
    letters_of,
    to_degrees,
    to_grid,
)

METRES_PER_DEGREE = 111_320
MOST_FIGURES = 10
LOOKS_LIKE_GRID = re.compile(r"([A-Z]{1,2})\s*(\d[\d\s]*)?")
NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?")
# What may stand between the numbers: degree, minute and second signs, in all the shapes that keyboards make.
SIGNS = re.compile("[°'\"`´‘’“”′″:\\s]+|\\bDEG\\b|D(?=\\s*\\d)")
# The raised o must be replaced before normalisation, which would make it a plain letter.
PLAINER = str.maketrans({"−": "-", "–": "-", "—": "-", "º": "°"})


class InvalidLocation(ValueError):
    """A location that cannot be read; the message says in plain words what to mend."""

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


@dataclass(frozen=True)
class Location:
    """A place on WGS84: degrees, how finely it was given in metres, and the text it came from."""

    latitude: float
    longitude: float
    precision_m: int
    as_typed: str


@dataclass(frozen=True)
class _Coordinate:
    """One of the two numbers: degrees, the smallest step it was written in (degrees), its letter or nothing."""

    degrees: float
    step: float
    letter: str


def parse_location(text: str) -> Location:
    """Read "54.123, -2.345", degrees with minutes and seconds, "SD 123 456" or "O 159 346".

    Raises:
        InvalidLocation: with a message for the person who typed it.
    """
    # NFKC turns full-width digits and the like, as phones paste them, into plain ones.
    typed = " ".join(unicodedata.normalize("NFKC", text.translate(PLAINER)).split())
    if not typed:
        raise InvalidLocation(_("Give the location as latitude and longitude or as a grid reference."))
    reference = LOOKS_LIKE_GRID.fullmatch(typed.upper())
    if reference:
        return _from_grid(reference[1], (reference[2] or "").replace(" ", ""), text.strip())
    return _from_degrees(typed.upper(), text.strip())


def grid_reference(latitude: float, longitude: float, figures: int = 8) -> str | None:
    """The grid reference of a place in WGS84 degrees, cut off and not rounded, as "SD 1234 5678".

    Irish on the island of Ireland, British in Great Britain and Man, None elsewhere. `figures`: even, 2 to 10.
    """
    grid = grid_at(latitude, longitude)
    if grid is None:
        return None
    # A micrometre more, so that a corner keeps its own square whatever the last bit of the projection does.
    easting, northing = (math.floor(metres + 1e-6) for metres in to_grid(grid, latitude, longitude))
    letters = letters_of(grid, easting // SQUARE_M, northing // SQUARE_M)
    if not letters:
        return None
    half = figures // 2
    east, north = (f"{metres % SQUARE_M:05d}"[:half] for metres in (easting, northing))
    return f"{letters} {east} {north}"


def _from_grid(letters: str, digits: str, as_typed: str) -> Location:
    grid = GRIDS[len(letters)]
    _check_figures(letters, digits)
    _check_letters(grid, letters)
    half = len(digits) // 2
    side = 10 ** (5 - half)
    east, north = corner_of(grid, letters)
    easting = east + int(digits[:half]) * side + side / 2
    northing = north + int(digits[half:]) * side + side / 2
    latitude, longitude = to_degrees(grid, easting, northing)
    return Location(latitude, longitude, side, as_typed)


def _check_figures(letters: str, digits: str) -> None:
    if not digits:
        raise InvalidLocation(
            _("The grid reference needs figures after its letters, such as %(letters)s 123 456.")
            % {"letters": letters}
        )
    if len(digits) % 2:
        raise InvalidLocation(
            _("A grid reference has as many figures for east as for north; %(count)d figures cannot be halved.")
            % {"count": len(digits)}
        )
    if len(digits) > MOST_FIGURES:
        raise InvalidLocation(_("A grid reference has at most 10 figures."))


def _check_letters(grid: Grid, letters: str) -> None:
    if any(each not in LETTERS for each in letters):
        raise InvalidLocation(_("The letter I is not used in grid references. Is it a 1 or a J?"))
    if letters in grid.land:
        return
    if grid is BRITISH:
        message = _("%(letters)s is not a square on land in Great Britain. Check the two letters.")
    else:
        message = _("%(letters)s is not a square on land in Ireland. A British reference has two letters.")
    raise InvalidLocation(message % {"letters": letters})


def _from_degrees(typed: str, as_typed: str) -> Location:
    first, second = (_read_coordinate(half) for half in _halves(typed))
    if first.letter in ("E", "W") or second.letter in ("N", "S"):
        first, second = second, first
    if first.letter in ("E", "W") or second.letter in ("N", "S"):
        raise InvalidLocation(_("Give one latitude (N or S) and one longitude (E or W)."))
    _check_globe(first.degrees, second.degrees)
    # Whoever writes the letters out has said which is which.
    if not (first.letter or second.letter):
        _check_order(first.degrees, second.degrees)
    precision = math.ceil(max(first.step, second.step) * METRES_PER_DEGREE)
    return Location(first.degrees, second.degrees, precision, as_typed)


def _halves(typed: str) -> list[str]:
    """The text of the two coordinates, parted at a comma, a letter or in the middle of the numbers."""
    parts = [part for part in re.split(r"[,;]", typed) if part.strip()]
    if not re.search(r"\d", typed):
        raise _unreadable(typed)
    if len(parts) == 2:
        return parts
    if len(parts) > 2:
        raise InvalidLocation(_("Write decimals with a point and one comma between latitude and longitude."))
    led = re.fullmatch(r"([NSEW][^NSEW]+)([NSEW][^NSEW]+)", typed)
    closed = re.fullmatch(r"([^NSEW]+[NSEW])([^NSEW]+[NSEW])", typed)
    found = led or closed
    return list(found.groups()) if found else _split_in_the_middle(typed)


def _split_in_the_middle(typed: str) -> list[str]:
    numbers = typed.split()
    half, odd = divmod(len(numbers), 2)
    if odd or not half or not all(NUMBER.match(each) for each in numbers):
        raise _unreadable(typed)
    return [" ".join(numbers[:half]), " ".join(numbers[half:])]


def _unreadable(typed: str) -> InvalidLocation:
    message = _("“%(text)s” is no location we can read. Write 54.123, -2.345 or a grid reference: SD 123 456.")
    return InvalidLocation(message % {"text": typed})


def _read_coordinate(text: str) -> _Coordinate:
    letters = re.findall(r"[NSEW]", text)
    plain = SIGNS.sub(" ", re.sub(r"[NSEW]", " ", text))
    numbers = plain.split()
    if len(letters) > 1 or not 1 <= len(numbers) <= 3 or not all(NUMBER.fullmatch(each) for each in numbers):
        raise InvalidLocation(
            _("“%(text)s” is no latitude or longitude we can read. Write it like 54.123 or 54° 7' 23\" N.")
            % {"text": text.strip()}
        )
    return _coordinate(numbers, letters[0] if letters else "")


def _coordinate(numbers: list[str], letter: str) -> _Coordinate:
    # Read from the text, because -0 degrees 7 minutes has no sign left as a number.
    negative = numbers[0].startswith("-")
    if letter and negative:
        raise InvalidLocation(_("Write either a minus sign or a letter N, S, E, W, not both."))
    parts = [abs(float(numbers[0])), *(float(each) for each in numbers[1:])]
    if any(not 0 <= part < 60 for part in parts[1:]):
        raise InvalidLocation(_("Minutes and seconds go from 0 to 59."))
    degrees = sum(part / 60**place for place, part in enumerate(parts))
    decimals = len(numbers[-1].partition(".")[2])
    step = 10.0**-decimals / 60 ** (len(numbers) - 1)
    return _Coordinate(-degrees if negative or letter in ("S", "W") else degrees, step, letter)


def _check_globe(latitude: float, longitude: float) -> None:
    if latitude == 0 and longitude == 0:
        raise InvalidLocation(_("0, 0 lies in the Atlantic: the location seems not to have been filled in."))
    if abs(latitude) > 90 and abs(longitude) <= 90:
        raise InvalidLocation(_("Latitude goes from -90 to 90. Were latitude and longitude swapped?"))
    if abs(latitude) > 90 or abs(longitude) > 180:
        raise InvalidLocation(_("Latitude goes from -90 to 90 and longitude from -180 to 180."))


def _check_order(latitude: float, longitude: float) -> None:
    """Refuse a place that lies on the British or Irish grid only when read the other way round."""
    if grid_at(latitude, longitude) is None and abs(longitude) <= 90 and grid_at(longitude, latitude):
        raise InvalidLocation(
            _("Were latitude and longitude swapped? Latitude comes first. If it is right, add N or S, E or W.")
        )
