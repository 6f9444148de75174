"""Split samples as evidence: what somebody counted, held against what another member counted that day."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils import timezone

from portal.accounts.models import Membership
from surveys.comparing.agreements import Measure, Pair, pairs_of
from surveys.models import Visit

# Common practice, no source: older counts say little of what somebody can do today.
YEARS_BACK = 2


@dataclass(frozen=True)
class SplitSample:
    """One's own count and another's of the same site and day."""

    own: Visit
    others: Visit
    measures: tuple[Measure, ...]

    @property
    def key(self) -> str:
        return f"{self.own.pk}:{self.others.pk}"


def split_samples(membership: Membership) -> list[SplitSample]:
    """The member's counts of this year and the last that somebody else counted too, the latest first."""
    year = timezone.localdate().year
    pairs = pairs_of(membership.group, *range(year, year - YEARS_BACK, -1))
    return [found for pair in pairs if (found := _for(membership, pair))]


def _for(membership: Membership, pair: Pair) -> SplitSample | None:
    by = {pair.first.recorder_id: pair.first, pair.second.recorder_id: pair.second}
    own = by.pop(membership.user_id, None)
    if own is None or not by or None in by:
        return None
    (others,) = by.values()
    return SplitSample(own, others, pair.measures)
