"""Which visits fall due: interval, season, permission, river, and what is planned already."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from surveys.models import RiverReport, Site
from surveys.queries import DueSite, sites_due
from surveys.rota.due import due_days, obstacle_at, site_obstacle, visits_due, window_of
from surveys.services.sites import save_site
from tests.conftest import Cast
from tests.factories import VisitFactory, days_ago, submit
from tests.rota.conftest import ahead

MONDAY = date(2026, 6, 1)
SPAN = (MONDAY, MONDAY + timedelta(days=55))


def days(site: Site, due_on: date | None, *planned: date) -> list[int]:
    """The days due in eight weeks, as numbers from the first one."""
    found = due_days(DueSite(site, None, due_on, "due"), *SPAN, planned)
    return [(each - MONDAY).days for each in found]


def test_it_goes_on_by_the_interval_from_the_day_due() -> None:
    assert days(Site(visit_interval_days=14), MONDAY + timedelta(days=3)) == [3, 17, 31, 45]


@pytest.mark.parametrize("due_on", [None, MONDAY - timedelta(days=40)])
def test_what_is_late_or_was_never_visited_is_due_at_once(due_on: date | None) -> None:
    assert days(Site(visit_interval_days=30), due_on) == [0, 30]


@pytest.mark.parametrize(
    ("dates", "last_good", "first_bad", "words"),
    [
        ({"opened_on": MONDAY}, 0, -1, "it opens on 1 June 2026"),
        ({"closed_on": MONDAY}, -1, 0, "it closes on 1 June 2026"),
        ({"permission_from": MONDAY}, 0, -1, "the landowner's permission begins on 1 June 2026"),
        ({"permission_until": MONDAY}, 0, 1, "the landowner's permission ends on 1 June 2026"),
        ({"season_first_month": 6, "season_last_month": 9}, 0, -1, "it is out of its season"),
        ({"season_first_month": 10, "season_last_month": 5}, -1, 0, "it is out of its season"),
    ],
)
def test_a_sites_own_dates_keep_people_away(
    dates: dict[str, Any], last_good: int, first_bad: int, words: str
) -> None:
    site = Site(**dates)
    assert site_obstacle(site, MONDAY + timedelta(days=last_good)) == ""
    assert site_obstacle(site, MONDAY + timedelta(days=first_bad)) == words


def test_nobody_is_sent_on_the_day_until_which_the_river_is_high() -> None:
    high = datetime(2026, 6, 3, 10, tzinfo=ZoneInfo("Europe/London"))
    due = DueSite(Site(), None, MONDAY, "high", high)
    assert obstacle_at(due, date(2026, 6, 3)) == "the river is above the site's limit"
    assert obstacle_at(due, date(2026, 6, 4)) == ""


def test_a_visit_planned_near_the_day_answers_it_and_the_count_goes_on_from_there() -> None:
    assert days(Site(visit_interval_days=30), MONDAY, MONDAY + timedelta(days=10)) == [40]


def test_a_visit_planned_far_from_the_day_does_not_answer_it() -> None:
    assert days(Site(visit_interval_days=14), MONDAY, MONDAY + timedelta(days=50)) == [0, 14, 28, 42]


@pytest.mark.parametrize(("interval", "window"), [(30, 7), (15, 7), (7, 3), (2, 0), (1, 0)])
def test_windows_of_one_site_never_meet(interval: int, window: int) -> None:
    assert window_of(Site(visit_interval_days=interval)).days == window
    assert 2 * window < interval


@pytest.mark.django_db
class TestOfAGroup:
    def due(self, cast: Cast, weeks: int = 8) -> tuple[list[date], list[str]]:
        found = visits_due(cast.group, ahead(1), ahead(7 * weeks), [])
        return [each.due_on for each in found.visits], found.left_out

    def possible(self, cast: Cast) -> list[date]:
        return list(visits_due(cast.group, ahead(1), ahead(56), []).visits[0].days)

    def change(self, cast: Cast, **fields: object) -> None:
        save_site(person=cast.person("coordinator"), group=cast.group, site=cast.site, fields=fields)

    def test_it_counts_from_the_last_visit_made(self, cast: Cast) -> None:
        submit(cast.person("volunteer"), cast.site, visited_on=days_ago(20).isoformat())
        assert self.due(cast)[0] == [ahead(10), ahead(40)]

    def test_a_closed_site_is_not_visited_any_more(self, cast: Cast) -> None:
        self.change(cast, closed_on=ahead(20))
        dates, left_out = self.due(cast)
        assert dates == [ahead(1)]
        assert "closes on" in left_out[0]

    def test_nobody_is_sent_without_permission(self, cast: Cast) -> None:
        self.change(cast, permission_until=ahead(4))
        assert self.possible(cast) == [ahead(1), ahead(2), ahead(3), ahead(4)]
        assert "permission ends" in self.due(cast)[1][0]

    def test_nobody_is_sent_to_a_river_above_its_limit(self, cast: Cast) -> None:
        now = timezone.now()
        until = now + timedelta(days=3)
        RiverReport.objects.create(site=cast.site, too_high=True, reported_at=now, holds_until=until)
        assert self.possible(cast)[0] == ahead(4)

    def test_out_of_season_nothing_is_planned_and_that_is_said(self, cast: Cast) -> None:
        month = (ahead(1).month + 5) % 12 + 1
        self.change(cast, season_first_month=month, season_last_month=month)
        dates, left_out = self.due(cast)
        assert dates == []
        assert "out of its season" in left_out[0]

    def test_half_a_season_is_refused_at_its_field(self, cast: Cast) -> None:
        with pytest.raises(ValidationError) as refused:
            self.change(cast, season_first_month=4)
        assert list(refused.value.message_dict) == ["season_last_month"]


@pytest.mark.parametrize(
    ("first", "last", "month", "is_in"),
    [
        (4, 9, 3, False),
        (4, 9, 4, True),
        (4, 9, 9, True),
        (11, 2, 1, True),
        (11, 2, 3, False),
        (None, None, 7, True),
    ],
)
def test_a_season_may_run_over_the_turn_of_the_year(
    first: int | None, last: int | None, month: int, is_in: bool
) -> None:
    site = Site(season_first_month=first, season_last_month=last)
    assert site.in_season(date(2026, month, 15)) is is_in


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("today", "last", "due_on", "state"),
    [
        (date(2026, 11, 25), date(2026, 8, 20), date(2027, 4, 1), "later"),
        (date(2027, 3, 28), date(2026, 8, 20), date(2027, 4, 1), "due"),
        (date(2026, 9, 20), date(2026, 8, 1), date(2026, 8, 31), "late"),
        (date(2026, 9, 20), date(2026, 9, 10), date(2027, 4, 1), "later"),
    ],
)
def test_out_of_season_nothing_is_due_before_the_next_one(
    cast: Cast, today: date, last: date, due_on: date, state: str
) -> None:
    cast.site.season_first_month, cast.site.season_last_month = 4, 9
    cast.site.save()
    VisitFactory(site=cast.site, visited_on=last)
    (due,) = sites_due(cast.group, today)
    assert (due.due_on, due.state) == (due_on, state)
