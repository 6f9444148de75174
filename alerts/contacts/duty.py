"""When a contact is at work: working hours, days away, holidays. Pure; times are aware datetimes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from types import MappingProxyType
from zoneinfo import ZoneInfo

# Further ahead nobody plans; a contact who is away for all of it is treated as if always at work.
HORIZON_DAYS = 60
Stretch = tuple[datetime, datetime]


@dataclass(frozen=True)
class Duty:
    """The working time of one contact; without `hours` it is all day and night.

    `hours` maps a weekday (0 is Monday) to opening and closing time, `away` holds first and last days,
    `holidays` days on which nobody works who keeps hours.
    """

    zone: ZoneInfo
    hours: Mapping[int, tuple[time, time]] = field(default_factory=lambda: MappingProxyType({}))
    away: tuple[tuple[date, date], ...] = ()
    holidays: frozenset[date] = frozenset()

    def is_away(self, day: date) -> bool:
        """Whether the contact is away on a day, or it is a holiday for somebody who keeps hours."""
        return any(first <= day <= last for first, last in self.away) or (
            bool(self.hours) and day in self.holidays
        )


def add_working_time(duty: Duty, start: datetime, hours: float) -> datetime:
    """The moment at which so many hours of work have passed since `start`.

    Counts plain hours for whoever is not at work at all within 60 days, so that no duty waits for ever.
    """
    left = timedelta(hours=hours)
    for opens, closes in _stretches(duty, start):
        begin = max(opens, start)
        if begin + left <= closes:
            return begin + left
        left -= max(closes - begin, timedelta(0))
    return start + timedelta(hours=hours)


def _stretches(duty: Duty, start: datetime) -> Iterator[Stretch]:
    first = start.astimezone(duty.zone).date()
    for ahead in range(HORIZON_DAYS):
        stretch = _stretch(duty, first + timedelta(days=ahead))
        if stretch is not None and stretch[1] > start:
            yield stretch


def _stretch(duty: Duty, day: date) -> Stretch | None:
    """The working time of a day, in UTC so that lengths are real across a change of clocks."""
    if duty.is_away(day):
        return None
    if not duty.hours:
        return _at(duty, day, time.min), _at(duty, day + timedelta(days=1), time.min)
    if day.weekday() not in duty.hours:
        return None
    opens, closes = duty.hours[day.weekday()]
    return _at(duty, day, opens), _at(duty, day, closes)


def _at(duty: Duty, day: date, clock: time) -> datetime:
    return datetime.combine(day, clock, duty.zone).astimezone(ZoneInfo("UTC"))


def first_on_duty(duties: Iterable[Duty], moment: datetime) -> int:
    """Place of the first who is at work, else of whoever is at work soonest, the earlier in order at a tie.

    Raises ValueError when nobody is given.
    """
    starts = [_next_start(duty, moment) for duty in duties]
    return starts.index(min(starts))


def _next_start(duty: Duty, moment: datetime) -> datetime:
    return max(next(_stretches(duty, moment), (datetime.max.replace(tzinfo=moment.tzinfo),))[0], moment)
