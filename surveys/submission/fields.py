"""Fields that read what volunteers type and answer in their words."""

from __future__ import annotations

import re
from datetime import time
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.utils.translation import gettext_lazy as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from scoring.samples import ABUNDANCE_RANGES
from surveys.submission.numbers import decimal_of

REQUIRED = _("Fill this in.")
# No tray holds a million animals; more is a finger left on a key.
LARGEST_COUNT = 1_000_000
_FRACTION = re.compile(r"([1-9][0-9]{0,3})/([1-9][0-9]{0,3})")


class WholeNumber(serializers.IntegerField):
    """A count of things."""

    default_error_messages = {
        "required": REQUIRED,
        "null": REQUIRED,
        "invalid": _("Write a whole number, such as 12."),
        "min_value": _("This cannot be less than {min_value}."),
        "max_value": _("This cannot be more than {max_value}."),
        "max_string_length": _("Write a whole number, such as 12."),
    }


class TypedNumber(serializers.Field[Decimal, Any, str, Any]):
    """A number of at least zero with a decimal point or comma, kept to one decimal."""

    default_error_messages = {"required": REQUIRED, "null": REQUIRED, "range": _("Give 0 to 9,999.")}
    # Seconds and centimetres, which nearly everybody writes whole.
    as_a_number = _("Write this as a number, such as 30.")

    def to_internal_value(self, data: Any) -> Decimal:
        try:
            value = decimal_of(str(data), otherwise=self.as_a_number)
        except ValueError as wrong:
            raise serializers.ValidationError(str(wrong), code="invalid") from None
        if not 0 <= value < 10_000:
            self.fail("range")
        return value.quantize(Decimal("0.1"), ROUND_HALF_UP)

    def to_representation(self, value: Any) -> str:
        return str(value)


# Text in the schema, since "7,4" is welcome too.
extend_schema_field(OpenApiTypes.STR)(TypedNumber)


class Choice(serializers.ChoiceField):
    """One of the answers of a list."""

    default_error_messages = {"required": REQUIRED, "invalid_choice": _("Choose one of the answers offered.")}


class Day(serializers.DateField):
    """A day, as year-month-day."""

    default_error_messages = {
        "required": REQUIRED,
        "null": REQUIRED,
        "invalid": _("Write the date as year-month-day, such as 2026-05-03."),
        "datetime": _("Write the date without a time."),
    }


class ClockTime(serializers.TimeField):
    """A time of day, to the minute."""

    default_error_messages = {"invalid": _("Write the time as hours and minutes, such as 10:30.")}

    def to_internal_value(self, value: Any) -> time:
        # Forms show hours and minutes: a second kept unseen would come back as a change.
        return super().to_internal_value(value).replace(second=0, microsecond=0, tzinfo=None)


class Identifier(serializers.UUIDField):
    """The number (UUID) of something."""

    default_error_messages = {"required": REQUIRED, "null": REQUIRED, "invalid": _("Choose from the list.")}


def range_text(low: int, high: int | None) -> str:
    """Write an abundance range: (10, 99) -> "10-99", (1000, None) -> "1000+"."""
    return f"{low}+" if high is None else f"{low}-{high}"


RANGE_TEXTS = {range_text(low, high): (low, high) for low, high in ABUNDANCE_RANGES}


class FractionSorted(serializers.CharField):
    """The share of the tray that was sorted, as a fraction: "1/4", or "6/30" squares of a gridded tray."""

    default_error_messages = {
        "fraction": _("Write a fraction such as 1/4, or 6/30 for 6 of 30 squares. Leave it empty for all."),
        "more_than_all": _("More than the whole tray cannot be sorted: {typed}."),
    }

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=20, **kwargs)

    def to_internal_value(self, data: Any) -> str:
        typed = "".join(super().to_internal_value(data).split()).replace("\N{FRACTION SLASH}", "/")
        found = _FRACTION.fullmatch(typed)
        if not found:
            self.fail("fraction")
        if int(found[1]) > int(found[2]):
            self.fail("more_than_all", typed=typed)
        # All of it, however it is written, is what an empty field says.
        return "" if found[1] == found[2] else typed


class AbundanceRange(serializers.ChoiceField):
    """One of the four abundance ranges, with either dash and with or without a thousands comma."""

    default_error_messages = {"invalid_choice": _("Choose 1-9, 10-99, 100-999 or 1000+.")}

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(choices=[(text, text) for text in RANGE_TEXTS], **kwargs)

    def to_internal_value(self, data: Any) -> Any:
        # Sheets and printed lists write the same four ranges in several ways.
        plain = str(data).replace("\N{EN DASH}", "-").replace(",", "")
        return RANGE_TEXTS[super().to_internal_value("".join(plain.split()))]
