"""One month's visits to some sites, drawn by chance: who went when, how it was, what was caught."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import starmap

import numpy as np
import numpy.typing as npt

from portal.growing.catches import BAD_WATER, Counts, draw
from portal.growing.extent import MONTH, Extent, numbers
from portal.growing.land import COORDINATORS, PEOPLE, Land

NOT_MADE, FALLS, OFF_PLAN, SPATES, SIGNS = 0.03, 0.002, 0.035, 0.02, 0.7
# Of the visits of the last weeks: those sent back to their recorders.
RETURNED, LATELY = 0.03, timedelta(days=30)
JITTER = 4
REASONS = ("too_high", "no_partner", "illness", "weather", "no_access")
LEVELS, CLARITIES = ("low", "normal", "normal", "high"), ("clear", "clear", "tinted")
WEATHERS, PAST_WEEKS = ("dry", "dry", "showers"), ("dry", "showers", "rain")
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Plan:
    """One visit: its site's place in the land, its people's places in the group, and what befell it.

    `checked_on` is the day of its review, None where it still waits; `choice` a number from which the lesser
    things follow: hours, weather, depths.
    """

    id: str
    site: int
    day: date
    recorder: int
    partner: int
    reviewer: int
    choice: int
    was_made: bool
    is_off_plan: bool
    is_spate: bool
    has_signs: bool
    checked_on: date | None
    is_returned: bool

    @property
    def status(self) -> str:
        if self.checked_on is None:
            return "waiting"
        return "returned" if self.is_returned else "approved"

    def pick(self, words: Sequence[str], turn: int) -> str:
        """One of these words by chance; `turn` tells one picking of the visit from another."""
        return words[(self.choice >> 3 * turn) % len(words)]


def draw_visits(land: Land, number: int, part: slice) -> tuple[list[Plan], Counts]:
    """The visits of one round to the sites of one part in the order of their days, and their catches."""
    extent = land.extent
    rng = extent.chance(9, number, part.start)
    sites = np.arange(part.start, part.stop)
    # Each site has its week of the month, and people come some days sooner or later.
    offsets = sites * 7 % int(MONTH - JITTER) + rng.integers(0, JITTER, len(sites))
    order = np.argsort(offsets, kind="stable")
    sites, offsets = sites[order], offsets[order]
    begins = extent.round_begins(number)
    days = [begins + timedelta(days=int(each)) for each in offsets]
    was_made, falls = rng.random(len(sites)) >= NOT_MADE, rng.random(len(sites)) < FALLS
    stress = np.where(falls, BAD_WATER, rng.beta(1.2, 60, len(sites)))
    months = np.array([each.month for each in days])
    counts = draw(rng, land.reaches[sites], months, stress)
    plans = list(starmap(Plan, _columns(extent, rng, sites, days, was_made, falls)))
    return plans, np.where(was_made[:, None], counts, 0)


def _columns(
    extent: Extent,
    rng: np.random.Generator,
    sites: npt.NDArray[np.int64],
    days: Sequence[date],
    was_made: Flags,
    falls: Flags,
) -> zip[tuple[object, ...]]:
    """The fields of a Plan, visit by visit."""
    count = len(sites)
    chances = rng.random((4, count))
    usual = was_made & ~falls
    volunteers = PEOPLE - COORDINATORS
    recorders = rng.integers(0, volunteers, count)
    partners = (recorders + rng.integers(1, volunteers, count)) % volunteers
    checked = [
        _checked_on(extent, day, int(wait)) for day, wait in zip(days, rng.integers(1, 10, count), strict=True)
    ]
    lately = np.array([extent.until - day < LATELY for day in days], dtype=bool)
    return zip(
        numbers(rng, count),
        sites.tolist(),
        days,
        (recorders + COORDINATORS).tolist(),
        (partners + COORDINATORS).tolist(),
        rng.integers(0, COORDINATORS, count).tolist(),
        rng.integers(0, 1 << 30, count).tolist(),
        was_made.tolist(),
        (usual & (chances[0] < OFF_PLAN)).tolist(),
        (usual & (chances[1] < SPATES)).tolist(),
        (falls & was_made & (chances[2] < SIGNS)).tolist(),
        checked,
        (usual & lately & (chances[3] < RETURNED)).tolist(),
        strict=True,
    )


def _checked_on(extent: Extent, day: date, wait: int) -> date | None:
    checked = day + timedelta(days=wait)
    return checked if checked < extent.until else None
