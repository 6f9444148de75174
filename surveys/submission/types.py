"""The shapes of a submission, free of the database."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from uuid import UUID


@dataclass(frozen=True)
class Problem:
    """Something wrong or unusual at one field, in words for whoever typed it.

    `field` is a path: "visited_on", "spots.1.seconds" (by spot number), "measurements.ph",
    "counts.Baetidae" or "whole_tray.Perlidae" (by the name as recorded). `rule` is the
    id of a rule in `surveys.rules`.
    """

    field: str
    message: str
    rule: str


class InvalidSubmission(ValueError):
    """The submission cannot be taken; `problems` say where and why.

    `readable` is what is left without the fields and rows that cannot be read, if that makes a submission.
    """

    def __init__(self, problems: Iterable[Problem], readable: Submission | None = None) -> None:
        self.problems = tuple(problems)
        self.readable = readable
        super().__init__("; ".join(f"{each.field}: {each.message}" for each in self.problems))


@dataclass(frozen=True)
class Timed:
    """One kick as a phone timed it: when it began (aware, to the millisecond), and how long it took, in s."""

    started_at: datetime
    seconds: Decimal


@dataclass(frozen=True)
class Spot:
    """Kicking at one spot: `seconds` is the time of all its kicks together, depth in cm.

    `timed` is what a phone timed of it, in order; `log_damaged` says that some of that could not be read.
    """

    number: int
    kicks: int
    seconds: Decimal
    flow_type: str = ""
    depth_cm: Decimal | None = None
    timed: tuple[Timed, ...] = ()
    log_damaged: bool = False

    @property
    def field(self) -> str:
        return f"spots.{self.number}"


@dataclass(frozen=True)
class Reading:
    """One measurement; with `is_below_limit` the value is the limit of the kit, not a reading."""

    quantity: str
    value: Decimal
    unit: str
    as_typed: str
    is_below_limit: bool = False

    @property
    def field(self) -> str:
        return f"measurements.{self.quantity}"


@dataclass(frozen=True)
class Entry:
    """One line of the count: exact, a range (`high` None with a `low` is open-ended), or seen and not counted.

    `whole_tray` marks what was picked out of the whole tray where only a fraction of it was sorted; `by_key` a
    name that was worked out with the identification key.
    `taxon` is the name that scoring knows; `recorded_as` the name as written, where that differs.
    """

    taxon: str
    recorded_as: str = ""
    count: int | None = None
    low: int | None = None
    high: int | None = None
    whole_tray: bool = False
    by_key: bool = False

    @property
    def name(self) -> str:
        # The written name, because that is the line the recorder will look for.
        return self.recorded_as or self.taxon

    @property
    def field(self) -> str:
        return f"{'whole_tray' if self.whole_tray else 'counts'}.{self.name}"

    @property
    def is_present(self) -> bool:
        # A range starts at one at least, so that only an exact nought means absent.
        return self.count != 0

    @property
    def fewest(self) -> int:
        """The smallest number of animals this line can mean."""
        return self.count if self.count is not None else self.low or 1


@dataclass(frozen=True)
class Position:
    """Where a visit was made, as its recorder confirmed it: WGS84 degrees, and how far off that may be, in m.

    `accuracy_m` None says that it is not known; `source` is phone, photo or typed.
    """

    latitude: float
    longitude: float
    accuracy_m: int | None
    source: str


@dataclass(frozen=True)
class Submission:
    """What is said of one visit. `recorder` None means whoever submits (or nobody known, in a past record).

    `recording_list` is the version of the list that the recorder worked with, None the site's present one.
    """

    id: UUID
    site: UUID
    visited_on: date
    recording_list: UUID | None = None
    was_made: bool = True
    not_made_reason: str = ""
    started_at: time | None = None
    ended_at: time | None = None
    recorder: UUID | None = None
    recorder_name: str = ""
    partner: UUID | None = None
    partner_name: str = ""
    water_level: str = ""
    clarity: str = ""
    weather: str = ""
    weather_past_week: str = ""
    kit: UUID | None = None
    position: Position | None = None
    checklist_done: bool = False
    checklist_at: time | None = None
    fraction_sorted: str = ""
    pollution_signs: str = ""
    notes: str = ""
    spots: tuple[Spot, ...] = ()
    measurements: tuple[Reading, ...] = ()
    counts: tuple[Entry, ...] = ()

    def reading(self, quantity: str) -> Reading | None:
        """The reading of one quantity, if it was taken."""
        return next((each for each in self.measurements if each.quantity == quantity), None)
