"""Days are those of the clock on the wall: in summer an hour of each night belongs to the day after."""

from __future__ import annotations

from datetime import UTC, date, datetime

from alerts.models import Incident
from portal.public.feeds import _closed
from portal.reports.figures.totals import planned_visits
from surveys.models import Site

# Half past midnight on the first of July in London.
NIGHT = datetime(2026, 6, 30, 23, 30, tzinfo=UTC)


def test_the_feed_names_the_day_on_which_an_incident_was_opened_and_closed() -> None:
    site = Site(code="AB1", name="Mill")
    told = _closed(
        Incident(site=site, year=2026, number=1, opened_at=NIGHT, closed_at=NIGHT, outcome="confirmed")
    )
    assert told.text.count("1 Jul 2026") == 2


def test_a_site_is_planned_for_from_the_day_on_which_it_was_added() -> None:
    site = Site(created_at=NIGHT, visit_interval_days=1)
    assert planned_visits(site, date(2026, 6, 1), date(2026, 6, 30)) == 0
    assert planned_visits(site, date(2026, 6, 1), date(2026, 7, 1)) == 1
