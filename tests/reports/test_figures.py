"""The figures of a report, each counted by hand."""

from __future__ import annotations

import json
from datetime import date, time

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from alerts.judging.verdicts import reason_words
from portal.reports.document import render_document
from portal.reports.figures.totals import planned_visits
from surveys.models import Site, TaxonCount
from tests.factories import SiteFactory, VisitFactory
from tests.reports.conftest import POOR_COUNTS, YEAR, YearBook, moment

MARCH, APRIL, MAY, JUNE = (date(YEAR, month, 10) for month in (3, 4, 5, 6))


def test_it_counts_approved_visits_only_and_says_how_many_wait(book: YearBook) -> None:
    book.visit(MARCH)
    book.visit(APRIL, status="waiting", reviewed_by=None)
    book.visit(MAY, status="returned", reviewed_by=None)
    figures = book.figures()
    assert (figures["totals"]["made"], figures["totals"]["waiting"]) == (1, 2)
    assert [visit["on"] for visit in figures["sites"][0]["visits"]] == ["2025-03-10"]


def test_it_leaves_out_other_years_and_other_groups(book: YearBook) -> None:
    book.visit(MARCH)
    book.visit(date(YEAR - 1, 12, 31))
    book.visit(date(YEAR + 1, 1, 1))
    VisitFactory(
        site=book.cast.neighbour_site, visited_on=MARCH, status="approved", reviewed_by=book.cast.coordinator
    )
    figures = book.figures()
    assert figures["totals"]["made"] == 1
    assert [site["code"] for site in figures["sites"]] == ["AB1"]


def test_it_counts_visits_not_made_by_reason(book: YearBook) -> None:
    book.not_made(MARCH)
    book.not_made(APRIL)
    book.not_made(MAY, "illness")
    totals = book.figures()["totals"]
    assert totals["not_made"] == 3
    assert totals["not_made_reasons"] == [
        {"reason": "river too high or bed not visible", "visits": 2},
        {"reason": "", "visits": 1},
    ]


def test_reasons_that_speak_of_people_are_in_no_part_of_a_report(book: YearBook) -> None:
    """A report is read by everybody: in a group of four, "illness" in March is as good as a name."""
    for day, reason in ((MARCH, "illness"), (APRIL, "no_partner"), (MAY, "other")):
        book.not_made(day, reason)
    figures = book.figures()
    told = json.dumps(figures) + render_document(figures, edition=1)
    assert [word for word in ("illness", "nobody to go with", "no_partner") if word in told] == []
    assert "3 visits could not be made." in figures["summary"]
    assert "<strong>Not made:</strong> 10 Mar; 10 Apr; 10 May." in told
    assert '<th scope="row">another reason</th><td class="n">3</td>' in told


def test_a_gap_stays_a_gap(book: YearBook) -> None:
    """365 days at 30 ask for 12 visits; 1 was made, 1 noted as not made, 1 waits: of 9 nothing is known."""
    book.visit(MARCH)
    book.not_made(APRIL)
    book.visit(MAY, status="waiting", reviewed_by=None)
    site = book.site_figures()
    assert (site["planned"], site["made"], len(site["not_made"]), site["no_record"]) == (12, 1, 1, 9)


@pytest.mark.parametrize(
    ("opened", "closed", "interval", "planned"),
    [
        (date(2024, 5, 1), None, 30, 12),
        (date(2025, 7, 1), None, 30, 6),
        (date(2025, 1, 1), date(2025, 1, 29), 30, 0),
        (date(2025, 1, 1), date(2025, 1, 30), 30, 1),
        (date(2025, 1, 1), None, 365, 1),
        (date(2026, 1, 1), None, 30, 0),
    ],
)
def test_it_plans_by_the_interval_while_the_site_was_open(
    opened: date, closed: date | None, interval: int, planned: int
) -> None:
    site = Site(opened_on=opened, closed_on=closed, visit_interval_days=interval)
    assert planned_visits(site, date(2025, 1, 1), date(2025, 12, 31)) == planned


def test_it_plans_up_to_the_cut_off_of_a_running_year(book: YearBook) -> None:
    totals = book.figures(now=moment(date(YEAR, 3, 1)))["totals"]
    assert totals["planned"] == 2  # 60 days at 30


def test_it_shows_each_visit_with_its_scores_and_verdict(book: YearBook) -> None:
    trigger = book.trigger(4.5, date(YEAR, 1, 1))
    clean, poor = book.visit(MARCH), book.visit(APRIL, POOR_COUNTS)
    book.verdict(clean, "not_below", trigger)
    book.verdict(poor, "below", trigger)
    first, second = book.site_figures()["visits"]
    assert (first["scores"]["bmwp"], first["scores"]["ntaxa"], round(first["scores"]["aspt"], 3)) == (
        48,
        7,
        6.857,
    )
    assert (first["outcome"], first["trigger"]) == ("not_below", 4.5)
    assert (second["scores"]["bmwp"], second["scores"]["aspt"], second["outcome"]) == (10, 2.5, "below")


def test_it_says_why_a_visit_was_not_tested(book: YearBook) -> None:
    book.verdict(book.visit(MARCH), "not_tested", reasons=["spate"], set_aside=["provisional"])
    site = book.site_figures()
    assert site["visits"][0]["reasons"] == reason_words(["spate"])
    assert "spate" in site["visits"][0]["reasons"][0]
    assert site["visits"][0]["set_aside"] == reason_words(["provisional"])
    assert (site["below"], site["not_below"], site["not_tested"]) == (0, 0, 1)


def test_it_never_counts_a_visit_without_a_verdict_as_clean(book: YearBook) -> None:
    book.visit(MARCH)
    assert (book.site_figures()["not_below"], book.site_figures()["not_tested"]) == (0, 1)


def test_it_takes_the_index_of_the_trigger_in_force_and_the_mean_without_one(book: YearBook) -> None:
    assert book.site_figures()["index"] == "aspt"
    book.trigger(40, MARCH, index="bmwp")
    book.trigger(50, date(YEAR + 1, 1, 5), index="ept_families")
    assert (book.site_figures()["index"], book.site_figures()["index_name"]) == ("bmwp", "BMWP")


def test_it_ends_a_trigger_on_the_day_before_the_next(book: YearBook) -> None:
    book.trigger(4.0, date(YEAR - 1, 6, 1))
    book.trigger(4.5, APRIL)
    assert book.site_figures()["triggers"] == [
        {"level": 4.0, "from": "2024-06-01", "to": "2025-04-09"},
        {"level": 4.5, "from": "2025-04-10", "to": None},
    ]


def test_a_trigger_set_again_at_its_level_goes_on(book: YearBook) -> None:
    for day in (date(YEAR, 1, 1), APRIL):
        book.trigger(5.0, day)
    book.trigger(5.5, JUNE)
    assert book.site_figures()["triggers"] == [
        {"level": 5.0, "from": f"{YEAR}-01-01", "to": f"{YEAR}-06-09"},
        {"level": 5.5, "from": f"{YEAR}-06-10", "to": None},
    ]


def test_it_leaves_out_a_trigger_replaced_on_its_first_day(book: YearBook) -> None:
    book.trigger(4.0, APRIL)
    book.trigger(4.5, APRIL)
    assert [each["level"] for each in book.site_figures()["triggers"]] == [4.5]


def test_its_chart_shows_the_whole_record_until_the_year(book: YearBook) -> None:
    for year in (YEAR - 9, YEAR - 2, YEAR, YEAR + 1):
        book.visit(date(year, 5, 1))
    book.visit(date(YEAR - 3, 5, 1), status="waiting", reviewed_by=None)
    assert [each["on"][:4] for each in book.site_figures()["points"]] == ["2016", "2023", "2025"]


def test_it_tells_by_quarter_who_found_and_who_looked(book: YearBook) -> None:
    book.visit(date(YEAR, 2, 1), {"Baetidae": 3, "Leuctridae": 0})
    book.visit(date(YEAR, 3, 31), {"Baetidae": 0, "Leuctridae": 0})
    book.visit(date(YEAR, 4, 1), {"Baetidae": 9})
    assert book.site_figures()["taxa"] == [{"taxon": "Baetidae", "quarters": [[1, 2], [1, 1], [0, 0], [0, 0]]}]


def test_it_takes_a_range_for_a_finding_of_the_taxon(book: YearBook) -> None:
    visit = book.visit(MARCH, {})
    TaxonCount.objects.create(visit=visit, taxon="Gammaridae", low=10, high=99)
    assert [(each["taxon"], each["quarters"][0]) for each in book.site_figures()["taxa"]] == [
        ("Gammaridae", [1, 1])
    ]


def test_it_keeps_a_site_that_was_closed_but_visited(book: YearBook) -> None:
    site = book.second_site(opened_on=date(YEAR - 3, 1, 1), closed_on=date(YEAR - 1, 12, 31))
    assert [each["code"] for each in book.figures()["sites"]] == ["AB1"]
    book.visit(MARCH, site=site)
    assert [each["code"] for each in book.figures()["sites"]] == ["AB1", "AB2"]


def test_it_leaves_out_a_site_that_opened_later(book: YearBook) -> None:
    book.second_site(opened_on=date(YEAR + 1, 1, 1))
    assert [each["code"] for each in book.figures()["sites"]] == ["AB1"]


def test_it_adds_up_the_sites(book: YearBook) -> None:
    other = book.second_site()
    book.visit(MARCH)
    book.visit(MARCH, site=other)
    book.not_made(APRIL, site=other)
    totals = book.figures()["totals"]
    assert (totals["sites"], totals["planned"], totals["made"], totals["not_made"]) == (2, 24, 2, 1)


def test_it_lets_no_private_words_in(book: YearBook) -> None:
    site = book.site
    site.hazards, site.access_notes, site.landowner = "PRIVATE bull", "PRIVATE gate code", "PRIVATE owner"
    site.save()
    visit = book.visit(MARCH, notes="PRIVATE note", pollution_signs="PRIVATE smell")
    incident = book.incident(
        visit,
        state="closed",
        outcome="natural",
        closed_at=moment(APRIL),
        outcome_note="PRIVATE cause",
        acknowledged_by="PRIVATE contact",
    )
    incident.events.create(kind="note", note="PRIVATE remark", actor_name="PRIVATE name")
    assert "PRIVATE" not in json.dumps(book.figures())


def test_it_is_plain_data(book: YearBook) -> None:
    book.visit(MARCH)
    figures = book.figures()
    assert json.loads(json.dumps(figures)) == figures


def test_its_queries_do_not_grow_with_visits_and_sites(book: YearBook) -> None:
    book.incident(book.visit(MARCH))
    few = _queries(book)
    for number in range(5):
        site = SiteFactory(group=book.group, code=f"X{number}", opened_on=date(YEAR, 1, 1))
        for month in range(1, 7):
            book.finding(book.visit(date(YEAR, month, 3), site=site, started_at=time(9)))
        book.incident(book.visit(JUNE, site=site))
    assert _queries(book) == few


def _queries(book: YearBook) -> int:
    with CaptureQueriesContext(connection) as queries:
        book.figures()
    return len(queries)
