"""The year in plain sentences."""

from __future__ import annotations

from datetime import date, timedelta

from tests.reports.conftest import POOR_COUNTS, YEAR, YearBook, moment

MARCH, APRIL, MAY, JUNE = (date(YEAR, month, 10) for month in (3, 4, 5, 6))


def test_it_tells_an_empty_year_without_a_claim(book: YearBook) -> None:
    assert book.figures()["summary"] == [
        "Volunteers made 0 visits to 1 site; 12 had been planned.",
        "Of 12 planned visits there is no record at all: nothing is known of the river then.",
        "No visit was tested against a trigger.",
        "No incident was opened.",
        "All visits on record for the year have been checked.",
    ]


def test_it_tells_a_full_year(book: YearBook) -> None:
    trigger = book.trigger(4.5, date(YEAR, 1, 1))
    poor = book.visit(MARCH, POOR_COUNTS)
    book.verdict(poor, "below", trigger)
    book.verdict(book.visit(APRIL), "not_below", trigger)
    book.verdict(book.visit(MAY), "not_tested")
    book.not_made(JUNE)
    book.visit(JUNE, status="waiting", reviewed_by=None)
    opened = moment(MARCH)
    book.incident(
        poor,
        opened_at=opened,
        acknowledged_at=opened + timedelta(hours=2, minutes=30),
        state="closed",
        outcome="not_confirmed",
        closed_at=moment(APRIL),
    )
    assert book.figures()["summary"] == [
        "Volunteers made 3 visits to 1 site; 12 had been planned.",
        "1 visit could not be made, most often for this reason: river too high or bed not visible.",
        "Of 7 planned visits there is no record at all: nothing is known of the river then.",
        "2 visits could be tested against the trigger of their site, and 1 fell below it.",
        "1 visit could not be tested; the pages of the sites say why. Not tested does not mean clean.",
        "1 incident was opened. Acknowledged: 1.",
        "Half of the acknowledgements came within 2.5 hours.",
        "1 incident proved to be a false alarm: withdrawn, not confirmed, or an error of method.",
        "2 people took part and kicked for 4 minutes in all.",
        "1 visit still waits to be checked and is in no other figure of this report.",
    ]
