"""Where a picture says it was taken: read once from the upload, offered, and forgotten unless confirmed."""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import IO, Any

from django.utils.translation import gettext as _
from PIL import ExifTags, Image

from surveys.models import Site
from surveys.models.visits import ROUGHEST_M, PositionSource
from surveys.services.photos import FORMATS, LARGEST_BYTES
from surveys.submission.placing import DECIMALS, position_text
from surveys.submission.types import Position
from surveys.visits.positions import Landmark, distance_words, standing

# Written by the camera beside the degrees (EXIF 2.32, GPS attributes).
_TAGS = ExifTags.GPS
# The only datum in which the degrees can be set against a site's; cameras that name none mean it too.
_DATUM = "WGS84"


@dataclass(frozen=True)
class Suggestion:
    """A position to confirm: what the button sends, and the question in words."""

    value: str
    words: str


def suggest_position(upload: IO[bytes], site: Site, others: Iterable[Landmark]) -> Suggestion | None:
    """The question to ask about an uploaded picture; None where it says nothing of its place."""
    position = position_in(upload)
    if position is None:
        return None
    found = standing(position, site, others)
    words = {
        "distance": distance_words(found.metres),
        "accuracy": _("exact to %(metres)d m") % {"metres": position.accuracy_m}
        if position.accuracy_m
        else _("how exactly is not known"),
        "site": site.code,
        "other": found.other,
    }
    text = _(
        "The picture says it was taken %(distance)s from %(site)s (%(accuracy)s). "
        "Use this position for the visit?"
    )
    if found.other:
        text = f"{text} {_('Is this a visit of %(other)s?')}"
    elif found.is_far:
        text = f"{text} {_('Is it the right site?')}"
    value = f"{position_text(position.latitude, position.longitude)}|{position.accuracy_m or ''}"
    return Suggestion(value, text % words)


def position_in(upload: IO[bytes]) -> Position | None:
    """The position in a picture's EXIF, if it has one that can be read; the upload is read from its start."""
    upload.seek(0)
    try:
        picture = Image.open(io.BytesIO(upload.read(LARGEST_BYTES)), formats=FORMATS)
        tags = picture.getexif().get_ifd(ExifTags.IFD.GPSInfo)
        return _position(tags)
    # Whatever a camera or a joker wrote there: a picture without a place is nothing wrong.
    except (OSError, SyntaxError, ValueError, TypeError, ArithmeticError, LookupError):
        return None


def _position(tags: Mapping[int, Any]) -> Position | None:
    latitude = _degrees(tags[_TAGS.GPSLatitude], tags[_TAGS.GPSLatitudeRef], "N", "S")
    longitude = _degrees(tags[_TAGS.GPSLongitude], tags[_TAGS.GPSLongitudeRef], "E", "W")
    datum = "".join(each for each in str(tags.get(_TAGS.GPSMapDatum, _DATUM)).upper() if each.isalnum())
    # 0, 0 is what cameras write that do not know.
    if not (abs(latitude) <= 90 and abs(longitude) <= 180) or (latitude, longitude) == (0, 0):
        return None
    accuracy_m = _accuracy_m(tags.get(_TAGS.GPSHPositioningError))
    if datum not in ("", _DATUM) or (accuracy_m or 0) > ROUGHEST_M:
        return None
    return Position(
        round(latitude, DECIMALS), round(longitude, DECIMALS), accuracy_m, PositionSource.PHOTO.value
    )


def _degrees(parts: Any, letter: Any, plus: str, minus: str) -> float:
    degrees, minutes, seconds = (float(part) for part in parts)
    sign = {plus: 1, minus: -1}[str(letter).strip("\x00 ").upper()]
    return sign * (degrees + minutes / 60 + seconds / 3600)


def _accuracy_m(error: Any) -> int | None:
    """The camera's own estimate in whole metres; None where it gives none."""
    metres = float(error) if error is not None else 0.0
    return max(1, math.ceil(metres)) if math.isfinite(metres) and metres > 0 else None
