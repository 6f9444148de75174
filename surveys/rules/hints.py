"""What is usual at a site, and what somebody may have meant instead: asked, never silently mended."""

from __future__ import annotations

import statistics
from collections.abc import Iterator
from decimal import Decimal
from functools import lru_cache

from django.utils.translation import gettext as _

from surveys.measuring.quantities import Range
from surveys.submission.numbers import plain_text

SPREADS_ALLOWED = 3


# Of all visits of a sheet to one site the earlier ones are the same.
@lru_cache(maxsize=500)
def usual_at_site(earlier: tuple[float, ...], least_share: float = 0.05) -> Range:
    """Median give or take three times the interquartile range: common practice, no source.

    That range is taken for at least `least_share` of the median.
    """
    lower, middle, upper = statistics.quantiles(earlier, n=4)
    # Values that hardly ever differ would else make the least change a finding.
    spread = max(upper - lower, abs(middle) * least_share)
    low, high = middle - SPREADS_ALLOWED * spread, middle + SPREADS_ALLOWED * spread
    return Decimal(str(low)), Decimal(str(high))


def likely_meant(value: Decimal, usual: Range) -> Decimal | None:
    """The nearest slip of the keys that would be usual, or None."""
    low, high = usual
    # Only a slip that would make the value usual is worth a question.
    return next((each for each in _slips(value) if low <= each <= high), None)


def hint(value: Decimal, usual: Range) -> str:
    """A question to add to a message, starting with a space; empty without a likely slip."""
    meant = likely_meant(value, usual)
    return " " + _("Did you mean %(value)s?") % {"value": plain_text(meant)} if meant is not None else ""


def _slips(value: Decimal) -> Iterator[Decimal]:
    # A lost decimal point comes first: it is the commonest slip.
    yield value / 10
    yield from _swapped(value)
    yield value / 100
    yield value * 10


def _swapped(value: Decimal) -> Iterator[Decimal]:
    digits = plain_text(value)
    for place in range(len(digits) - 1):
        left, right = digits[place], digits[place + 1]
        # Digits are swapped with their neighbours, never across the decimal point.
        if left.isdigit() and right.isdigit() and left != right:
            yield Decimal(digits[:place] + right + left + digits[place + 2 :])
