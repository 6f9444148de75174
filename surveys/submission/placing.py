"""Where a visit was made: one text as people, phones and sheets write it, its accuracy, and how it is known."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.fields import empty

from surveys.models.visits import ROUGHEST_M, PositionSource
from surveys.places.locations import InvalidLocation, Location, parse_location
from surveys.submission.types import Position

POSITION_FIELDS = ("position", "position_accuracy_m", "position_source")
# The start of every path that speaks of the position: in submissions, findings, the trail and the database.
POSITION = "position"
# A metre: finer than any phone knows.
DECIMALS = 5


@extend_schema_field(OpenApiTypes.STR)
class PositionText(serializers.CharField):
    """A place as typed: degrees, or a British or Irish grid reference."""

    def run_validation(self, data: Any = empty) -> Any:
        # After the length and all else that is asked of a text.
        text = super().run_validation(data)
        try:
            return parse_location(text)
        except InvalidLocation as wrong:
            raise serializers.ValidationError(wrong.message, code="invalid") from None


def position_from(place: Location | None, accuracy_m: int | None, source: str | None) -> Position | None:
    """The three parts as one; raises ValidationError where they do not make one."""
    if place is None:
        if accuracy_m is not None or source:
            raise _refuse(_("Say where it was, or leave out how that is known and how exactly."), "required")
        return None
    known_by = source or PositionSource.TYPED
    if accuracy_m is None and known_by == PositionSource.TYPED:
        # As finely as it was written; a phone or a picture that does not say leaves it open.
        accuracy_m = place.precision_m
    if accuracy_m is not None and accuracy_m > ROUGHEST_M:
        raise _refuse(
            _("This is only exact to %(km)d km. Give more digits, or leave it empty.")
            % {"km": accuracy_m // 1000},
            "invalid",
        )
    return Position(
        round(place.latitude, DECIMALS), round(place.longitude, DECIMALS), accuracy_m, str(known_by)
    )


def _refuse(message: str, code: str) -> serializers.ValidationError:
    return serializers.ValidationError({"position": [serializers.ErrorDetail(message, code)]})


def position_text(latitude: float, longitude: float) -> str:
    """A place so that it cannot be read the wrong way round: "54.12346 N, 2.34568 W"."""
    north, east = "N" if latitude >= 0 else "S", "E" if longitude >= 0 else "W"
    return f"{abs(latitude):.{DECIMALS}f} {north}, {abs(longitude):.{DECIMALS}f} {east}"


def position_data(position: Position | None) -> dict[str, str]:
    """The position as submission data, blank where none was recorded."""
    if position is None:
        return dict.fromkeys(POSITION_FIELDS, "")
    accuracy = "" if position.accuracy_m is None else str(position.accuracy_m)
    values = (position_text(position.latitude, position.longitude), accuracy, position.source)
    return dict(zip(POSITION_FIELDS, values, strict=True))


def without_position(data: dict[str, Any]) -> dict[str, Any]:
    """Submission data for a reader who may not see where the visit was made."""
    return data | position_data(None)
