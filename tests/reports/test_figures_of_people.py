"""Effort, checking and incidents in the figures."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.reports.conftest import YEAR, YearBook, moment

MARCH, APRIL, MAY = (date(YEAR, month, 10) for month in (3, 4, 5))


def test_it_adds_up_kicks_minutes_and_hours(book: YearBook) -> None:
    """Two visits of 3 spots of 3 kicks and 30 s: 180 s; two people for 1.5 h each time: 6 h."""
    book.visit(MARCH)
    book.visit(APRIL)
    effort = book.figures()["effort"]
    assert (effort["visits"], effort["spots"], effort["kicks"]) == (2, 6, 18)
    assert (effort["kicking_minutes"], effort["person_hours"]) == (3, 6)


def test_it_counts_everybody_once_guests_too(book: YearBook) -> None:
    book.visit(MARCH)
    book.visit(APRIL, partner=None, partner_name="Pat Guest")
    book.visit(MAY, partner=None, partner_name="pat guest ")
    assert book.figures()["effort"]["volunteers"] == 3


def test_it_adds_no_hours_where_times_are_missing(book: YearBook) -> None:
    book.visit(MARCH, ended_at=None)
    effort = book.figures()["effort"]
    assert (effort["person_hours"], effort["visits_without_times"]) == (0, 1)


def test_it_counts_no_effort_of_visits_not_made_or_waiting(book: YearBook) -> None:
    book.not_made(MARCH)
    book.visit(APRIL, status="waiting", reviewed_by=None)
    effort = book.figures()["effort"]
    assert (effort["visits"], effort["volunteers"], effort["kicks"]) == (0, 0, 0)


def test_it_names_only_who_agreed_and_took_part(book: YearBook) -> None:
    book.visit(MARCH)
    assert book.figures()["effort"]["names"] == []
    book.show_name(book.cast.volunteer)
    book.show_name(book.cast.second_coordinator)
    assert book.figures()["effort"]["names"] == ["Vera Example"]


def test_it_tells_what_became_of_the_findings(book: YearBook) -> None:
    visit = book.visit(MARCH)
    for decision in ("accepted", "accepted", "mended", ""):
        book.finding(visit, decision)
    quality = book.figures()["quality"]
    assert (quality["findings"], quality["accepted"], quality["mended"], quality["open"]) == (4, 2, 1, 1)


def test_it_counts_corrected_visits_and_who_checked(book: YearBook) -> None:
    book.visit(MARCH).corrected_by.add(book.cast.second_coordinator)
    book.visit(APRIL)
    quality = book.figures()["quality"]
    assert (quality["approved"], quality["checked_by_another"], quality["corrected"]) == (2, 2, 1)


def test_it_does_not_call_a_visit_checked_by_another_when_the_checker_took_part(book: YearBook) -> None:
    book.visit(MARCH, partner=book.cast.coordinator)
    assert book.figures()["quality"]["checked_by_another"] == 0


def test_it_tells_how_long_an_acknowledgement_took(book: YearBook) -> None:
    opened = moment(MARCH, 12)
    for hours in (1, 3, 8):
        book.incident(
            book.visit(MARCH),
            opened_at=opened,
            acknowledged_at=opened + timedelta(hours=hours),
            state="closed",
            outcome="natural",
            closed_at=opened + timedelta(days=9),
        )
    incidents = book.figures()["incidents"]
    assert [row["hours_to_acknowledge"] for row in incidents["rows"]] == [1.0, 3.0, 8.0]
    assert (incidents["acknowledged"], incidents["median_hours"]) == (3, 3.0)


def test_it_says_so_when_nobody_acknowledged(book: YearBook) -> None:
    book.incident(book.visit(MARCH), opened_at=moment(MARCH))
    incidents = book.figures()["incidents"]
    assert (incidents["acknowledged"], incidents["median_hours"], incidents["still_live"]) == (0, None, 1)


@pytest.mark.parametrize(
    ("state", "outcome", "false_alarms"),
    [
        ("withdrawn", "", 1),
        ("closed", "method_error", 1),
        ("closed", "not_confirmed", 1),
        ("closed", "natural", 0),
        ("closed", "source_stopped", 0),
        ("open", "", 0),
    ],
)
def test_it_admits_false_alarms(book: YearBook, state: str, outcome: str, false_alarms: int) -> None:
    closed_at = moment(APRIL) if state == "closed" else None
    book.incident(book.visit(MARCH), state=state, outcome=outcome, closed_at=closed_at)
    assert book.figures()["incidents"]["false_alarms"] == false_alarms


def test_it_leaves_incidents_of_other_years_out(book: YearBook) -> None:
    book.incident(book.visit(MARCH), year=YEAR - 1)
    assert book.figures()["incidents"]["rows"] == []


def test_it_names_the_effort_of_each_site(book: YearBook) -> None:
    book.second_site(spots=1, kicks_per_spot=1, seconds_per_kick=180)
    assert book.figures()["methods"]["efforts"] == [
        {"spots": 1, "kicks": 1, "seconds": 180, "total": 180, "sites": ["AB2"]},
        {"spots": 3, "kicks": 3, "seconds": 10, "total": 90, "sites": ["AB1"]},
    ]


def test_it_names_list_and_index_versions_with_their_sources(book: YearBook) -> None:
    book.visit(MARCH)
    methods = book.figures()["methods"]
    assert methods["lists"] == ["Families of the BMWP table (1)"]
    told = {each["index"]: each for each in methods["indices"]}
    assert set(told) == {"bmwp", "ntaxa", "aspt", "ept_families"}
    assert told["bmwp"]["versions"] == ["1980-table-1"]
    assert "Hawkes 1998" in told["bmwp"]["source"]


def test_it_explains_the_index_of_a_trigger_beside_the_usual_ones(book: YearBook) -> None:
    book.trigger(2.0, MARCH, index="shannon")
    assert "shannon" in [each["index"] for each in book.figures()["methods"]["indices"]]
