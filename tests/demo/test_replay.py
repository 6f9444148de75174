"""Playing deeds in the order of time."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.utils import timezone

from portal.demo.replay import Replay

NOON = datetime(2024, 5, 1, 12, 0, tzinfo=timezone.get_default_timezone())
HOUR = timedelta(hours=1)


def test_it_does_everything_in_order_with_the_clock_set() -> None:
    done: list[tuple[str, datetime]] = []
    replay = Replay(until=NOON + 9 * HOUR)
    for name, hours in (("third", 3), ("first", 1), ("second", 2)):
        replay.plan(NOON + hours * HOUR, lambda name=name: done.append((name, timezone.now())))  # type: ignore[misc]
    replay.run(on_month=lambda _moment: None)
    assert [name for name, _when in done] == ["first", "second", "third"]
    assert all(
        abs(when - NOON - hours * HOUR) < timedelta(seconds=5)
        for (_, when), hours in zip(done, (1, 2, 3), strict=True)
    )


def test_it_drops_what_has_not_happened_yet() -> None:
    done: list[str] = []
    replay = Replay(until=NOON)
    replay.plan(NOON, lambda: done.append("now"))
    replay.plan(NOON + timedelta(seconds=1), lambda: done.append("later"))
    replay.run(on_month=lambda _moment: None)
    assert done == ["now"]


def test_a_deed_may_plan_another() -> None:
    done: list[str] = []
    replay = Replay(until=NOON + 2 * HOUR)
    replay.plan(NOON, lambda: replay.plan(NOON + HOUR, lambda: done.append("after")))
    replay.run(on_month=lambda _moment: None)
    assert done == ["after"]


def test_deeds_of_one_moment_keep_the_order_they_were_planned_in() -> None:
    done: list[int] = []
    replay = Replay(until=NOON)
    for number in range(20):
        replay.plan(NOON, lambda number=number: done.append(number))  # type: ignore[misc]
    replay.run(on_month=lambda _moment: None)
    assert done == list(range(20))


def test_it_tells_each_month_once() -> None:
    months: list[int] = []
    replay = Replay(until=NOON + timedelta(days=70))
    for day in range(0, 70, 7):
        replay.plan(NOON + timedelta(days=day), lambda: None)
    replay.run(on_month=lambda moment: months.append(moment.month))
    assert months == [5, 6, 7]


def test_the_real_time_is_back_afterwards() -> None:
    replay = Replay(until=NOON)
    replay.plan(NOON, lambda: None)
    replay.run(on_month=lambda _moment: None)
    assert timezone.now() > NOON + timedelta(days=365)
