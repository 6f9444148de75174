"""Rules about readings: plausible ranges, oxygen against temperature, and the site's own history."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from statistics import median

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from surveys.measuring.oxygen import saturation_percent
from surveys.measuring.quantities import COMMON, QUANTITIES, Quantity, Range
from surveys.rules.hints import hint, usual_at_site
from surveys.rules.types import Context, Remarks, Rule, Severity
from surveys.submission.types import Reading, Submission

USUAL_SATURATION: Range = (Decimal(60), Decimal(120))
SATURATION_DISAGREES = 10
# Fewer than eight visits are called provisional elsewhere too: common practice, no source.
READINGS_NEEDED = 8


def _in_range(value: Decimal, limits: Range) -> bool:
    return limits[0] <= value <= limits[1]


def _spoken(limits: Range, quantity: Quantity) -> dict[str, str]:
    # "Between 6 and 9 pH" is how nobody says it.
    unit = "" if quantity.key == "ph" else f" {quantity.unit}"
    return {"low": f"{limits[0]:,}", "high": f"{limits[1]:,}{unit}"}


def _converted(reading: Reading) -> Decimal:
    return QUANTITIES[reading.quantity].in_first_unit(reading.value, reading.unit)


def _impossible(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    for reading in submission.measurements:
        quantity = QUANTITIES[reading.quantity]
        value = _converted(reading)
        if not _in_range(value, quantity.error_range):
            usual = quantity.finding_range or quantity.error_range
            message = _("%(name)s must lie between %(low)s and %(high)s.") % {
                "name": quantity.label,
                **_spoken(quantity.error_range, quantity),
            }
            yield reading.field, message + hint(value, usual)


def _unusual(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    for reading in submission.measurements:
        quantity, value = QUANTITIES[reading.quantity], _converted(reading)
        usual = quantity.finding_range
        # A limit says only that the value is lower still.
        if usual is None or reading.is_below_limit or _in_range(value, usual):
            continue
        # What is impossible has been said already.
        if _in_range(value, quantity.error_range):
            message = _("%(value)s is unusual: mostly between %(low)s and %(high)s.") % {
                "value": reading.as_typed,
                **_spoken(usual, quantity),
            }
            yield reading.field, message + hint(value, usual)


def _saturation(submission: Submission) -> float | None:
    """Saturation from mg/L and water temperature, %; None where either is missing or impossible."""
    oxygen, temperature = submission.reading("oxygen"), submission.reading("temperature")
    if oxygen is None or temperature is None:
        return None
    # An impossible temperature is an error of its own; the formula would only make nonsense of it.
    if not _in_range(temperature.value, QUANTITIES["temperature"].error_range):
        return None
    return saturation_percent(oxygen.value, temperature.value)


def _oxygen(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    # Cold water holds far more oxygen than warm water, so mg/L alone say little.
    percent = _saturation(submission)
    if percent is not None and not USUAL_SATURATION[0] <= percent <= USUAL_SATURATION[1]:
        yield (
            "measurements.oxygen",
            _(
                "At this water temperature that is %(percent)s %% of saturation; mostly it is between 60 and "
                "120 %%. Check both readings."
            )
            % {"percent": round(percent)},
        )


def _saturations_disagree(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    percent, read = _saturation(submission), submission.reading("oxygen_saturation")
    if percent is None or read is None:
        return
    if abs(percent - float(read.value)) > SATURATION_DISAGREES:
        yield (
            "measurements.oxygen_saturation",
            _("The oxygen in mg/L and the temperature make %(percent)s %%. Check all three readings.")
            % {"percent": round(percent)},
        )


def _jump(submission: Submission, context: Context) -> Remarks:
    for reading in submission.measurements:
        earlier = context.history.readings.get(reading.quantity, ())
        if reading.is_below_limit or len(earlier) < READINGS_NEEDED:
            continue
        # Compared in the first unit, since a site's kits may have changed over the years.
        usual = usual_at_site(earlier)
        value = _converted(reading)
        if not _in_range(value, usual):
            yield reading.field, _jump_words(reading, float(value), earlier) + hint(value, usual)


def _jump_words(reading: Reading, value: float, earlier: Sequence[float]) -> str:
    low, high = min(earlier), max(earlier)
    told = {"value": reading.as_typed, "unit": QUANTITIES[reading.quantity].unit}
    # Once it was as far off as now, what it lay between is no news.
    if low <= value <= high:
        words = _("%(value)s is far from what is usual at this site, about %(middle)s %(unit)s.")
        return words % (told | {"middle": f"{median(earlier):.3g}"})
    words = _("%(value)s is far from what this site has had (%(low)s to %(high)s %(unit)s).")
    return words % (told | {"low": f"{low:g}", "high": f"{high:g}"})


MEASURED_RULES = (
    Rule(
        "impossible_reading",
        gettext_lazy("Impossible reading"),
        gettext_lazy("Outside anything river water can have; see the table of quantities for each range."),
        Severity.ERROR,
        gettext_lazy("See the table of quantities."),
        _impossible,
    ),
    Rule(
        "unusual_reading",
        gettext_lazy("Unusual reading"),
        gettext_lazy("Possible, but rare: look at the unit, the meter and its calibration."),
        Severity.FINDING,
        gettext_lazy("See the table of quantities."),
        _unusual,
    ),
    Rule(
        "oxygen_unusual",
        gettext_lazy("Oxygen unusual for the temperature"),
        gettext_lazy("Outside 60 to 120 % of saturation: pollution, much plant growth, or a wrong reading."),
        Severity.FINDING,
        gettext_lazy(
            "Saturation: Benson and Krause 1984, Limnology and Oceanography 29(3): 620-632, coefficients from "
            "memory. 60 to 120 %: common practice, no source."
        ),
        _oxygen,
    ),
    Rule(
        "saturation_disagrees",
        gettext_lazy("Oxygen readings disagree"),
        gettext_lazy(
            "Percentage, mg/L and temperature belong together; more than 10 apart, one of them is wrong."
        ),
        Severity.FINDING,
        COMMON,
        _saturations_disagree,
    ),
    Rule(
        "reading_jumps",
        gettext_lazy("Far from the site's history"),
        gettext_lazy(
            "Further from the site's median than three times the spread of its middle half, once it has eight "
            "readings. Swapped digits and dropped decimals show up here."
        ),
        Severity.FINDING,
        COMMON,
        _jump,
    ),
)
