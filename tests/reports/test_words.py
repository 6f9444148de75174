"""Foreword, captions, sections left out and corrections: what a coordinator adds to the figures."""

from __future__ import annotations

import json
from datetime import date
from hashlib import sha256
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from portal.reports.editions import changed_figures
from portal.reports.figures.change import compare_year
from portal.reports.models import YearlyReport
from portal.reports.services import (
    NotADraft,
    NotReady,
    Words,
    make_report,
    publish_report,
    request_report,
    reword_report,
)
from scoring.trend import by_month
from surveys.exporting.services import set_terms, terms_of
from tests.reports.conftest import YEAR, YearBook, say_correction
from tests.reports.test_pages import address, as_user, text

State = YearlyReport.State


def made(book: YearBook) -> YearlyReport:
    report = request_report(person=book.cast.person("coordinator"), group=book.group, year=YEAR)
    make_report(report.pk)
    report.refresh_from_db()
    return report


@pytest.fixture
def draft(book: YearBook) -> YearlyReport:
    book.visit(date(YEAR, 3, 10))
    return made(book)


def test_the_page_takes_words_and_sets_the_same_figures_anew(book: YearBook, draft: YearlyReport) -> None:
    book.visit(date(YEAR, 4, 10))
    key = f"site-{book.site.pk}"
    sent = {
        "foreword": "A dry spring.",
        f"caption-{key}": "The pipe was mended.",
        "left_out": ["effort", "map"],
    }
    answer = as_user(book.cast.coordinator).post(address("report_words", draft), sent)
    assert answer.status_code == 302
    make_report(draft.pk)
    draft.refresh_from_db()
    assert draft.state == State.READY
    told = {name: draft.data[name] for name in ("foreword", "captions", "left_out")}
    assert told == {
        "foreword": "A dry spring.",
        "captions": {key: "The pipe was mended."},
        "left_out": ["effort", "map"],
    }
    # The visit that came in between is not in figures somebody has read already.
    assert draft.data["totals"]["made"] == 1
    assert "The pipe was mended." in text(as_user(book.cast.coordinator).get(address("report_words", draft)))


def test_a_caption_too_long_or_an_unknown_section_is_refused_and_kept(
    book: YearBook, draft: YearlyReport
) -> None:
    sent = {"foreword": "Kept words.", "caption-map": "x" * 601, "left_out": ["methods"]}
    answer = as_user(book.cast.coordinator).post(address("report_words", draft), sent)
    assert answer.status_code == 422
    assert 'href="#id_caption-map"' in text(answer)
    assert "Kept words." in text(answer)
    draft.refresh_from_db()
    assert (draft.state, draft.foreword) == (State.READY, "")


def test_a_published_report_keeps_its_words(book: YearBook, draft: YearlyReport) -> None:
    person = book.cast.person("coordinator")
    publish_report(person=person, report=draft)
    with pytest.raises(NotADraft):
        reword_report(person=person, report=draft, words=Words(foreword="Rewritten."))
    assert as_user(book.cast.coordinator).get(address("report_words", draft)).status_code == 302


def test_a_draft_of_an_older_portal_is_made_anew_first(book: YearBook, draft: YearlyReport) -> None:
    YearlyReport.objects.of_group(book.group).update(data={**draft.data, "version": 2})
    with pytest.raises(NotReady, match="make it anew"):
        publish_report(person=book.cast.person("coordinator"), report=draft)


@pytest.mark.parametrize(("field", "value"), [("licence", "CC0-1.0"), ("blur", "0.1")])
def test_a_draft_on_other_terms_than_those_of_today_is_made_anew_first(
    book: YearBook, draft: YearlyReport, field: str, value: str
) -> None:
    """Else the report would grant or tell other things than the open data beside it."""
    person = book.cast.person("coordinator")
    terms = terms_of(book.group)
    setattr(terms, field, value)
    set_terms(person=person, group=book.group, terms=terms)
    with pytest.raises(NotReady, match="on what terms"):
        publish_report(person=person, report=draft)


def test_a_new_edition_keeps_the_words_asks_what_it_corrects_and_says_what_differs(
    book: YearBook, draft: YearlyReport
) -> None:
    person = book.cast.person("coordinator")
    reword_report(person=person, report=draft, words=Words(foreword="A dry spring.", left_out=["map"]))
    make_report(draft.pk)
    first = publish_report(person=person, report=draft)
    book.visit(date(YEAR, 4, 10))
    second = made(book)
    assert (second.edition, second.foreword, second.left_out) == (2, "A dry spring.", ["map"])
    client = as_user(book.cast.coordinator)
    asked = client.post(address("report_publish", second))
    assert asked["Location"] == address("report_words", second)
    empty = client.post(address("report_words", second), {"correction": ""})
    assert 'href="#id_correction"' in text(empty)
    say_correction(book, second, "A visit of April was missing.")
    publish_report(person=person, report=second)
    second.refresh_from_db()
    rows = {row["what"]: (row["before"], row["now"]) for row in second.data["corrected_figures"]}
    assert rows["Visits made"] == (1, 2)
    assert "Sites" not in rows
    assert second.data["corrected_from"] == first.edition


def test_what_an_edition_did_not_know_is_no_number() -> None:
    now = {"totals": dict.fromkeys(("sites", "planned", "made", "not_made", "no_record", "below"), 1)}
    now["totals"] |= {"not_below": 1, "not_tested": 1}
    rest: dict[str, Any] = {
        "incidents": {"acknowledged": 0, "false_alarms": 0, "still_live": 0, "rows": []},
        "effort": {"volunteers": 2, "kicking_minutes": 3, "person_hours": 4},
        "quality": {"approved": 1},
    }
    before = {**now, **rest, "quality": {}}
    assert changed_figures(before, {**now, **rest}) == [{"what": "Records approved", "before": None, "now": 1}]


def test_the_frozen_figures_can_be_fetched_and_fit_their_digest(book: YearBook, draft: YearlyReport) -> None:
    figures = address("public_report_figures", draft)
    assert Client().get(figures).status_code == 404
    report = publish_report(person=book.cast.person("coordinator"), report=draft)
    answer = Client().get(figures)
    assert sha256(answer.content).hexdigest() == report.digest
    assert json.loads(answer.content)["totals"]["made"] == 1


def test_the_identifier_leads_to_the_report_and_a_slip_is_told_from_a_stranger(
    book: YearBook, draft: YearlyReport
) -> None:
    report = publish_report(person=book.cast.person("coordinator"), report=draft)
    body = report.identifier.removeprefix("rifflebook:")
    for typed in (body, report.identifier, body.upper()):
        answer = Client().get(reverse("report_by_identifier", args=[typed]))
        assert (answer.status_code, answer["Location"]) == (302, address("public_report", report))
    slip = Client().get(reverse("report_by_identifier", args=[body.replace("2025", "2052")]))
    assert slip.status_code == 404
    assert "mistyped" in text(slip)


def test_a_year_is_set_against_like_months_only() -> None:
    """July is always low: a year with a July alone is no fall."""
    earlier = [
        (date(year, month, 5), 6.0 if month < 7 else 4.0) for year in range(2015, 2025) for month in range(1, 8)
    ]
    found = compare_year([*earlier, (date(2025, 7, 5), 4.0)], 2025, by_month)
    assert found is not None
    assert found.difference == 0
    # Two earlier Augusts are too few to say what an August holds.
    few = [*earlier, (date(2023, 8, 5), 9.0), (date(2024, 8, 5), 9.0), (date(2025, 8, 5), 1.0)]
    assert compare_year(few, 2025, by_month) is None
