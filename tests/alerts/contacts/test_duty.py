"""Working time of contacts: by hand, at the edges, over weekends, absences and the change of clocks."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.contacts.duty import HORIZON_DAYS, Duty, add_working_time, first_on_duty

LONDON = ZoneInfo("Europe/London")
OFFICE = {day: (time(9), time(17)) for day in range(5)}
ALWAYS = Duty(LONDON)
WEEKDAYS = Duty(LONDON, OFFICE)


def at(day: int, hour: int, minute: int = 0, month: int = 6) -> datetime:
    """A moment of summer 2026 in London; 1 June 2026 is a Monday."""
    return datetime(2026, month, day, hour, minute, tzinfo=LONDON)


def at_work(duty: Duty, moment: datetime) -> bool:
    """Whether no time passes until the contact is at work."""
    return add_working_time(duty, moment, 0) == moment


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        (at(1, 9), True),
        (at(1, 8, 59), False),
        (at(1, 16, 59), True),
        (at(1, 17), False),
        (at(6, 12), False),
        (at(7, 12), False),
        (at(8, 12), True),
    ],
)
def test_it_knows_working_hours(moment: datetime, expected: bool) -> None:
    assert at_work(WEEKDAYS, moment) is expected
    assert at_work(ALWAYS, moment) is True


def test_the_zone_of_the_question_does_not_matter() -> None:
    assert at_work(WEEKDAYS, at(1, 9).astimezone(ZoneInfo("Pacific/Auckland")))


@pytest.mark.parametrize(("day", "expected"), [(2, True), (3, False), (4, False), (5, True)])
def test_days_away_count_with_both_ends(day: int, expected: bool) -> None:
    away = ((date(2026, 6, 3), date(2026, 6, 4)),)
    assert at_work(Duty(LONDON, OFFICE, away=away), at(day, 12)) is expected
    assert at_work(Duty(LONDON, away=away), at(day, 23)) is expected


def test_a_holiday_is_kept_only_by_whoever_keeps_hours() -> None:
    holidays = frozenset({date(2026, 6, 1)})
    assert not at_work(Duty(LONDON, OFFICE, holidays=holidays), at(1, 12))
    assert at_work(Duty(LONDON, holidays=holidays), at(1, 12))


@pytest.mark.parametrize(
    ("start", "hours", "end"),
    [
        (at(1, 10), 4, at(1, 14)),
        (at(1, 13), 4, at(1, 17)),
        (at(1, 14), 4, at(2, 10)),
        (at(1, 17), 4, at(2, 13)),
        (at(5, 16), 4, at(8, 12)),
        (at(6, 3), 4, at(8, 13)),
        (at(1, 9), 20, at(3, 13)),
    ],
)
def test_it_adds_hours_of_work(start: datetime, hours: int, end: datetime) -> None:
    assert add_working_time(WEEKDAYS, start, hours) == end


def test_it_goes_round_holidays_and_days_away() -> None:
    away, holidays = ((date(2026, 6, 2), date(2026, 6, 3)),), frozenset({date(2026, 6, 4)})
    duty = Duty(LONDON, OFFICE, away=away, holidays=holidays)
    assert add_working_time(duty, at(1, 15), 4) == at(5, 11)


@given(hours=st.floats(0.1, 500), minutes=st.integers(0, 500_000))
def test_it_is_plain_time_for_whoever_always_works(hours: float, minutes: int) -> None:
    start = at(1, 0) + timedelta(minutes=minutes)
    # Compared in UTC: hours that pass, not what clocks on the wall show.
    start = start.astimezone(ZoneInfo("UTC"))
    assert abs(add_working_time(ALWAYS, start, hours) - start - timedelta(hours=hours)) < timedelta(seconds=1)


def test_an_hour_is_an_hour_when_the_clocks_change() -> None:
    """On 25 October 2026 clocks go back from 2 to 1: six hours from midnight end at five."""
    start = datetime(2026, 10, 25, 0, 0, tzinfo=LONDON)
    assert add_working_time(ALWAYS, start, 6) == datetime(2026, 10, 25, 5, 0, tzinfo=LONDON)


def test_it_waits_for_nobody_for_ever() -> None:
    away = ((date(2026, 1, 1), date(2027, 1, 1)),)
    assert add_working_time(Duty(LONDON, OFFICE, away=away), at(1, 10), 4) == at(1, 14)
    assert add_working_time(Duty(LONDON, {}, away=away), at(1, 10), 4) == at(1, 14)


@given(hours=st.floats(0.1, 40), minutes=st.integers(0, 20_000))
def test_the_end_is_never_outside_working_time(hours: float, minutes: int) -> None:
    start = at(1, 0) + timedelta(minutes=minutes)
    end = add_working_time(WEEKDAYS, start, hours)
    assert end >= start + timedelta(hours=hours) - timedelta(seconds=1)
    assert at_work(WEEKDAYS, end - timedelta(microseconds=1))
    assert end - start < timedelta(days=HORIZON_DAYS)


class TestChoosing:
    """Whom to tell first."""

    nights = Duty(LONDON, {day: (time(0), time(8)) for day in range(7)})
    late = Duty(LONDON, {day: (time(18), time(22)) for day in range(7)})

    def test_the_order_decides_among_those_at_work(self) -> None:
        assert first_on_duty([WEEKDAYS, ALWAYS], at(1, 12)) == 0
        assert first_on_duty([ALWAYS, WEEKDAYS], at(1, 12)) == 0

    def test_whoever_is_not_at_work_is_passed_over(self) -> None:
        assert first_on_duty([WEEKDAYS, self.nights, ALWAYS], at(1, 23)) == 2
        assert first_on_duty([WEEKDAYS, self.nights], at(2, 3)) == 1

    def test_when_nobody_is_at_work_it_is_whoever_comes_first(self) -> None:
        assert first_on_duty([WEEKDAYS, self.late], at(6, 12)) == 1
        assert first_on_duty([WEEKDAYS, self.nights], at(1, 8, 30)) == 0

    def test_somebody_away_for_long_comes_last(self) -> None:
        away = ((date(2026, 6, 1), date(2026, 12, 31)),)
        assert first_on_duty([Duty(LONDON, {}, away=away), WEEKDAYS], at(6, 12)) == 1
        assert first_on_duty([Duty(LONDON, {}, away=away)], at(6, 12)) == 0

    def test_nobody_cannot_be_chosen(self) -> None:
        with pytest.raises(ValueError, match="empty"):
            first_on_duty([], at(1, 12))
