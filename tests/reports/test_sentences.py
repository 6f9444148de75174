"""The year in plain sentences."""

from __future__ import annotations

from datetime import date, timedelta

from tests.reports.conftest import POOR_COUNTS, YEAR, YearBook, moment

MARCH, APRIL, MAY, JUNE = (date(YEAR, month, 10) for month in (3, 4, 5, 6))


def test_it_tells_an_empty_year_without_a_claim(book: YearBook) -> None:
    assert book.figures()["summary"] == [
        "Volunteers made 0 visits to 1 site; 12 had been planned.",
        "Of 12 planned visits there is no record at all: nothing is known of the river then.",
        "All visits on record for the year have been checked.",
        "No site has enough earlier visits yet to set the year against.",
        "Over the whole record, no site shows a trend that chance alone would not often give.",
        "No visit was tested against a trigger.",
        "No incident was opened.",
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
    parts = book.figures()["summary_parts"]
    assert [part["title"] for part in parts] == ["What was done", "What changed", "What happened"]
    assert parts[0]["sentences"] == [
        "Volunteers made 3 visits to 1 site; 12 had been planned.",
        "1 visit could not be made, most often for this reason: river too high or bed not visible.",
        "Of 7 planned visits there is no record at all: nothing is known of the river then.",
        "2 people took part and kicked for 4 minutes in all.",
        "1 visit still waits to be checked and is in no other figure of this report.",
    ]
    assert parts[2]["sentences"] == [
        "2 visits could be tested against the trigger of their site, and 1 fell below it.",
        "Visits below the trigger: AB1 (1).",
        "The deepest fall was at AB1 on 10 March: 2.5 against a trigger of 4.5.",
        "1 visit could not be tested; the pages of the sites say why. Not tested does not mean clean.",
        "1 incident was opened. Acknowledged: 1.",
        "Half of the acknowledgements came within 2.5 hours.",
        "What came of them: not confirmed by a repeat visit (1).",
        "1 incident counts as a false alarm: withdrawn, not confirmed, or an error of method.",
    ]
