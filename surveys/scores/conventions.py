"""How the scores of a visit deal with what was not counted one by one, in sentences for its page."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from scoring.samples import ABUNDANCE_RANGES, stand_in
from scoring.subsampling import CONFIDENCE
from surveys.models import TaxonCount, Visit


def conventions_of(visit: Visit) -> list[str]:
    """What was taken for ranges, for what was seen and not counted, and for a share of the tray.

    Empty for a visit in which everything was counted. Its counts should be prefetched.
    """
    counts = [each for each in visit.counts.all() if each.count != 0]
    return [*_of_ranges(counts), *_of_presence(counts), *_of_share(visit.fraction_sorted, counts)]


def _of_ranges(counts: list[TaxonCount]) -> Iterator[str]:
    if any(each.low is not None for each in counts):
        numbers = [_whole(stand_in(low, high)) for low, high in ABUNDANCE_RANGES]
        yield _(
            "Where an index needs a number, %(numbers)s or %(last)s stands for a range: the convention of the "
            "logarithmic abundance classes 1–9, 10–99, 100–999 and 1,000+ (numbers from memory). It is never "
            "shown as a count."
        ) % {"numbers": ", ".join(numbers[:-1]), "last": numbers[-1]}


def _of_presence(counts: list[TaxonCount]) -> Iterator[str]:
    if any(each.count is None and each.low is None for each in counts):
        yield _(
            "What was seen and not counted scores wherever presence is enough; an index that needs its number "
            "has no value."
        )


def _of_share(fraction_sorted: str, counts: list[TaxonCount]) -> Iterator[str]:
    if fraction_sorted:
        yield _(
            "%(fraction)s of the tray was sorted, so its numbers are multiplied by %(times)s; the limits are "
            "those of %(percent)d %% confidence for an evenly stirred tray (Wilson 1927)."
        ) % {
            "fraction": fraction_sorted,
            "times": number_format(float(1 / Fraction(fraction_sorted)), 2).rstrip("0").rstrip("."),
            "percent": round(CONFIDENCE * 100),
        }
    if any(each.whole_tray for each in counts):
        yield _("What was picked out of the whole tray is not multiplied.")


def _whole(number: float) -> str:
    return number_format(number, 0, use_l10n=True, force_grouping=True)
