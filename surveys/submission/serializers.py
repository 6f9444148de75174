"""The fields of a submission: they read it, and the API schema is drawn from them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

from scoring.taxa import roll_up, suggest
from surveys.measuring.quantities import QUANTITIES, Quantity
from surveys.models.samples import FlowType
from surveys.models.visits import ROUGHEST_M, Clarity, NotMade, PositionSource, WaterLevel, Weather
from surveys.submission.fields import (
    LARGEST_COUNT,
    AbundanceRange,
    Choice,
    ClockTime,
    Day,
    FractionSorted,
    Identifier,
    TypedNumber,
    WholeNumber,
)
from surveys.submission.numbers import limit_or_value
from surveys.submission.placing import POSITION_FIELDS, PositionText, position_from
from surveys.submission.timing import TimedKicks

Values = dict[str, Any]
# Of a taxon, in letters.
LONGEST_NAME = 120
_PLAIN_COUNT = re.compile(r"[0-9]{1,6}")
_PLAIN_LINE = frozenset({"taxon", "count"})
_SPOT = frozenset({"number", "flow_type", "kicks", "seconds", "depth_cm"})
_SHORT = 20


def _refuse(message: str, code: str) -> serializers.ValidationError:
    return serializers.ValidationError(message, code=code)


class Spots(serializers.ListSerializer[Any]):
    """Spots: nearly all were kicked as those of another visit, and what was read once is known."""

    def run_child_validation(self, data: Any) -> Any:
        if not _is_short(data):
            return super().run_child_validation(data)
        # By kind as well: True is no 1.
        return dict(_spot_read(tuple((name, type(value), value) for name, value in data.items())))


def _is_short(spot: Any) -> bool:
    """Whether it holds nothing but a few plain values: what is remembered must not fill the memory."""
    if not isinstance(spot, Mapping) or not spot.keys() <= _SPOT:
        return False
    return all(type(each) in (str, int) and len(str(each)) <= _SHORT for each in spot.values())


@lru_cache(maxsize=2_000)
def _spot_read(said: tuple[tuple[str, type, Any], ...]) -> Values:
    """What the fields make of a spot; what they refuse is read anew, in the language of the moment."""
    return dict(SpotSerializer().run_validation({name: value for name, _kind, value in said}))


class SpotSerializer(serializers.Serializer[Any]):
    """Kicking really done at one spot."""

    class Meta:
        list_serializer_class = Spots

    number = WholeNumber(min_value=1, max_value=99)
    flow_type = Choice(FlowType.choices, required=False)
    kicks = WholeNumber(min_value=1, max_value=100)
    seconds = TypedNumber(help_text="Time of all kicks together, s.")
    depth_cm = TypedNumber(required=False)
    timed = TimedKicks(
        required=False, help_text="Each kick as a phone timed it; what cannot be read is left out."
    )

    def validate(self, attrs: Values) -> Values:
        timed, log_damaged = attrs.pop("timed", ((), False))
        return attrs | {"timed": timed, "log_damaged": log_damaged}


class ReadingSerializer(serializers.Serializer[Any]):
    """One measurement as typed; "<0.05" stands for below the limit of the kit."""

    value = serializers.CharField(max_length=30)
    unit = serializers.CharField(
        max_length=20, required=False, help_text="The quantity's first unit if left out."
    )


class Entries(serializers.ListSerializer[Any]):
    """The lines of a count; nearly all are a known name and a number, which need no fields to be read."""

    def run_child_validation(self, data: Any) -> Any:
        return plain_line(data) or super().run_child_validation(data)


def plain_line(line: Any) -> Values | None:
    """What the fields make of a line that is a known name and a whole number; None leaves it to them."""
    if not isinstance(line, Mapping) or line.keys() != _PLAIN_LINE:
        return None
    taxon, count = line["taxon"], line["count"]
    # Six digits are below the largest count, and a name that is known is neither too long nor made of junk.
    if not (isinstance(taxon, str) and isinstance(count, str) and _PLAIN_COUNT.fullmatch(count)):
        return None
    written = taxon.strip()
    known = roll_up(written) if written.isprintable() and len(written) <= LONGEST_NAME else None
    if known is None:
        return None
    kept = _name_kept({"taxon": written}, known.name)
    return {
        "taxon": known.name,
        "recorded_as": kept,
        "count": int(count),
        "whole_tray": False,
        "by_key": False,
    }


class EntrySerializer(serializers.Serializer[Any]):
    """How many of one taxon: a count (0 is looked for and not found), a range, or seen and not counted."""

    class Meta:
        list_serializer_class = Entries

    taxon = serializers.CharField(max_length=LONGEST_NAME, help_text="Latin name, synonym or English name.")
    recorded_as = serializers.CharField(max_length=LONGEST_NAME, required=False)
    count = WholeNumber(min_value=0, max_value=LARGEST_COUNT, required=False)
    range = AbundanceRange(required=False)
    present = serializers.BooleanField(required=False, help_text="Seen, and not counted.")
    whole_tray = serializers.BooleanField(
        default=False, help_text="Picked out of the whole tray where a fraction was sorted; never multiplied."
    )
    by_key = serializers.BooleanField(
        default=False, help_text="The name was worked out with the identification key."
    )

    def validate(self, attrs: Values) -> Values:
        # Resolved here, before anything is checked or scored, so that all doors know the same names.
        known = roll_up(attrs["taxon"])
        if known is None:
            raise _refuse(unknown_taxon(attrs["taxon"]), "unknown_taxon")
        _require_amount(attrs)
        _require_found(attrs)
        _require_agreement(attrs.get("count"), attrs.get("range"))
        return attrs | {"taxon": known.name, "recorded_as": _name_kept(attrs, known.name)}


def _name_kept(attrs: Values, known_name: str) -> str:
    """The name as written, where it says more or other than the name that scoring knows."""
    written: str = attrs.get("recorded_as") or attrs["taxon"]
    return "" if written.casefold() == known_name.casefold() else written


def unknown_taxon(name: str) -> str:
    """Say that a name is unknown, with the closest known ones."""
    # Offered, never chosen for them: two families can differ by a letter.
    near = suggest(name)
    if not near:
        return _("“%(name)s” is not a name we know. Use the name on the recording list.") % {"name": name}
    return _("“%(name)s” is not a name we know. Did you mean %(near)s?") % {
        "name": name,
        "near": _(" or ").join(near),
    }


def _require_amount(attrs: Values) -> None:
    if attrs.get("count") == 0 and attrs.get("present"):
        raise _refuse(_("You say it was seen, and that none were found. Keep one of the two."), "count_at_odds")
    if not attrs.get("present") and "count" not in attrs and "range" not in attrs:
        raise _refuse(_("Say how many there were, or that it was seen and not counted."), "required")


def _require_found(attrs: Values) -> None:
    if attrs.get("count") == 0 and attrs["by_key"]:
        raise _refuse(
            _("You found it with the key, and say that none were found. Keep one of the two."), "count_at_odds"
        )


def _require_agreement(count: int | None, limits: tuple[int, int | None] | None) -> None:
    if count is None or limits is None:
        return
    low, high = limits
    # Neither is taken silently: only the recorder knows which of the two is the slip.
    if count == 0:
        raise _refuse(
            _("You say none were found, and give a range as well. Keep one of the two."), "count_at_odds"
        )
    if count < low or (high is not None and count > high):
        raise _refuse(_("The count lies outside the range you chose. Keep the right one."), "count_at_odds")


class SubmissionSerializer(serializers.Serializer[Any]):
    """One visit. Whatever is left out or blank was not recorded."""

    id = Identifier(
        help_text="Made by the client; a resend with the same number is answered with the first result."
    )
    site = Identifier()
    recording_list = Identifier(
        required=False, help_text="The list the recorder worked with; the site's present one if left out."
    )
    was_made = serializers.BooleanField(default=True)
    not_made_reason = Choice(NotMade.choices, required=False)
    visited_on = Day()
    started_at = ClockTime(required=False)
    ended_at = ClockTime(required=False)
    recorder = Identifier(required=False, help_text="A member; whoever submits if left out.")
    recorder_name = serializers.CharField(max_length=120, required=False, help_text="For past records only.")
    partner = Identifier(required=False)
    partner_name = serializers.CharField(max_length=120, required=False)
    water_level = Choice(WaterLevel.choices, required=False)
    clarity = Choice(Clarity.choices, required=False)
    weather = Choice(Weather.choices, required=False)
    weather_past_week = Choice(Weather.choices, required=False)
    kit = Identifier(required=False, help_text="The kit that was used: it was in this water.")
    position = PositionText(
        max_length=80,
        required=False,
        help_text="Where it was, if the volunteer confirmed it: degrees (WGS84) or a grid reference.",
    )
    position_accuracy_m = WholeNumber(
        min_value=1, max_value=ROUGHEST_M, required=False, help_text="How far off the position may be, m."
    )
    position_source = Choice(PositionSource.choices, required=False, help_text="Typed if left out.")
    checklist_done = serializers.BooleanField(default=False, help_text="The checklist was gone through.")
    checklist_at = ClockTime(required=False, help_text="When the checklist was gone through.")
    fraction_sorted = FractionSorted(
        required=False, help_text="Share of the tray that was sorted, such as 1/4; all of it if left out."
    )
    pollution_signs = serializers.CharField(max_length=5000, required=False)
    notes = serializers.CharField(max_length=10_000, required=False)
    spots = SpotSerializer(many=True, required=False)
    measurements = serializers.DictField(child=ReadingSerializer(), required=False)
    counts = EntrySerializer(many=True, required=False)

    def validate(self, attrs: Values) -> Values:
        place, accuracy_m, source = (attrs.pop(name, None) for name in POSITION_FIELDS)
        return attrs | {"position": position_from(place, accuracy_m, source)}

    def validate_measurements(self, measurements: dict[str, Values]) -> dict[str, Values]:
        read: dict[str, Values] = {}
        wrong: dict[str, Any] = {}
        for key, values in measurements.items():
            try:
                read[key] = _read_measurement(key, values)
            except serializers.ValidationError as problem:
                wrong[key] = problem.detail
        if wrong:
            raise serializers.ValidationError(wrong)
        return read


def _read_measurement(key: str, values: Values) -> Values:
    quantity = QUANTITIES.get(key)
    if quantity is None:
        raise _refuse(_("“%(name)s” is not a quantity we record.") % {"name": key}, "unknown_quantity")
    try:
        value, is_limit = limit_or_value(values["value"])
    except ValueError as wrong:
        raise _refuse(str(wrong), "invalid") from None
    # "<7" is no pH: only what a kit can fail to detect has a limit.
    if is_limit and (not quantity.has_limit or value <= 0):
        raise _refuse(_("Write the reading itself, without “<”."), "invalid")
    return {
        # Four decimals are kept; what was typed stands beside them in full.
        "value": value.quantize(Decimal("0.0001")),
        "unit": _unit_of(quantity, values.get("unit", "")),
        "as_typed": values["value"],
        "is_below_limit": is_limit,
    }


def _unit_of(quantity: Quantity, typed: str) -> str:
    unit = quantity.unit_named(typed)
    if unit is None:
        offered = ", ".join(quantity.units)
        raise _refuse(_("Give this in one of: %(units)s.") % {"units": offered}, "unknown_unit")
    return unit
