"""The document: what stands in the PDF, whom it can be read by, and what it must never fetch."""

from __future__ import annotations

import io
import json
import re
from copy import deepcopy
from datetime import date
from typing import Any
from xml.etree import ElementTree

import page
import pytest
from django.utils import translation
from pypdf import PdfReader
from pytest_django import DjangoDbBlocker

from portal.reports.document import (
    draw_map,
    render_document,
    typeset,
    write_pdf,
)
from surveys.paper.typesetting import NothingOutside, OutsideRefused
from tests.conftest import make_cast
from tests.lasting import built_once
from tests.reports.conftest import POOR_COUNTS, YEAR, YearBook

PUBLISHED = date(YEAR + 1, 2, 3)


def make_figures() -> dict[str, Any]:
    """Two sites: one with a clean and a poor visit against a trigger, one whose only visit was not tested."""
    book = YearBook(make_cast())
    trigger = book.trigger(4.5, date(YEAR - 1, 6, 1))
    other = book.second_site(downstream=book.site)
    book.verdict(book.visit(date(YEAR, 3, 10)), "not_below", trigger)
    poor = book.visit(date(YEAR, 9, 4), POOR_COUNTS)
    book.verdict(poor, "below", trigger)
    book.verdict(book.visit(date(YEAR, 5, 2), site=other), "not_tested", reasons=["spate"])
    book.not_made(date(YEAR, 2, 20), "no_access")
    book.incident(poor)
    book.show_name(book.cast.volunteer)
    return book.figures() | {"foreword": "A dry spring."}


once = built_once(make_figures)


@pytest.fixture
def figures(once: dict[str, Any], db: None) -> dict[str, Any]:
    return deepcopy(once)


@pytest.fixture(scope="module")
def draft(once: dict[str, Any], django_db_blocker: DjangoDbBlocker) -> bytes:
    """Set once for all who read it."""
    with django_db_blocker.unblock(), translation.override(None):
        return write_pdf(once, edition=1)


@pytest.fixture(scope="module")
def published(once: dict[str, Any], django_db_blocker: DjangoDbBlocker) -> bytes:
    with django_db_blocker.unblock(), translation.override(None):
        return write_pdf(once, edition=2, published_on=PUBLISHED)


def text_of(pdf: bytes) -> str:
    return " ".join(each.extract_text() for each in PdfReader(io.BytesIO(pdf)).pages)


def page_of(pdf: bytes, heading: str) -> str:
    """The text of the site's page with this heading."""
    pages = [each.extract_text() for each in PdfReader(io.BytesIO(pdf)).pages]
    return next(text for text in pages if heading in text and "The visits and their scores" in text)


def test_a_reader_finds_each_sites_scores_on_its_page(draft: bytes) -> None:
    """The clean sample scores 10+10+10+7+5+4+2 = 48 on 7 taxa, the poor one 4+2+1+3 = 10 on 4.

    EPT families: Heptageniidae, Leuctridae, Sericostomatidae, Rhyacophilidae, Baetidae; then Baetidae alone.
    """
    text = page_of(draft, "AB1 Stepping stones")
    assert re.search(r"10 Mar\s+48\s+7\s+6\.86\s+5\s+4\.5\s+not below", text)
    assert re.search(r"4 Sep\s+10\s+4\s+2\.50\s+1\s+4\.5\s+below", text)
    assert "20 Feb (no access)" in " ".join(text.split())


def test_a_reader_finds_why_a_visit_was_not_tested(draft: bytes) -> None:
    text = " ".join(page_of(draft, "AB2 Mill bend").split())
    assert "not tested (see 1)" in text
    assert "spate" in text


def test_a_draft_says_so_on_every_page_and_a_published_report_nowhere(draft: bytes, published: bytes) -> None:
    assert all("Draft" in each.extract_text() for each in PdfReader(io.BytesIO(draft)).pages)
    text = text_of(published)
    assert "Draft" not in text
    assert "DRAFT" not in text
    assert "Published on 3 February 2026." in " ".join(text.split())
    assert "Edition 2." in text


@pytest.mark.parametrize("kind", ["draft", "published"])
def test_it_keeps_the_standard_for_pdfs_that_everybody_can_read(
    request: pytest.FixtureRequest, kind: str
) -> None:
    pdf = request.getfixturevalue(kind)
    report = page.validate_pdf_bytes(pdf, profile=page.ValidationProfile.PDF_UA_1)
    assert report.is_compliant, str(report)


def test_the_checker_would_see_a_chart_without_words(figures: dict[str, Any]) -> None:
    html = re.sub(r"<title>[^<]*</title>", "", render_document(figures, edition=1))
    report = page.validate_pdf_bytes(typeset(html), profile=page.ValidationProfile.PDF_UA_1)
    assert not report.is_compliant


def test_it_carries_title_and_language(draft: bytes) -> None:
    reader = PdfReader(io.BytesIO(draft))
    assert reader.metadata is not None
    assert reader.metadata.title == "Alder Beck Watch: the rivers in 2025"
    assert str(reader.root_object["/Lang"]) == "en-gb"


def test_its_contents_lead_to_the_pages(draft: bytes) -> None:
    reader = PdfReader(io.BytesIO(draft))
    # Behind the summary, where there is room: no page is begun for them.
    contents = reader.pages[1].extract_text()
    assert "The year in short" in contents
    found = re.search(r"AB2 Mill bend[ .]*(\d+)", contents)
    assert found
    assert "AB2 Mill bend" in reader.pages[int(found[1]) - 1].extract_text()


def test_its_charts_name_their_figures(figures: dict[str, Any]) -> None:
    html = render_document(figures, edition=1)
    assert "AB1 Stepping stones, ASPT: 2 visits" in html
    assert "below the trigger: 1" in html


def test_the_sketch_shows_each_site_and_tells_how_the_water_runs(figures: dict[str, Any]) -> None:
    drawing = ElementTree.fromstring(str(draw_map(figures)))
    words = [each.text for each in drawing.iter("{http://www.w3.org/2000/svg}text")]
    assert {"AB1", "AB2"} <= set(words)
    title = drawing.find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    assert title.text == "Sketch of the sites: AB2 flows to AB1."


def test_it_can_tell_of_a_group_without_sites(figures: dict[str, Any]) -> None:
    empty = json.loads(json.dumps(figures)) | {"sites": []}
    assert "had no site" in text_of(write_pdf(empty, edition=1))


def test_it_names_only_who_agreed(draft: bytes) -> None:
    text = text_of(draft)
    assert "Vera Example" in text
    assert "Owen Example" not in text


def test_what_people_typed_stays_text(figures: dict[str, Any]) -> None:
    typed = '<img src="http://outside.example/spy.png"><b>bold</b>'
    html = render_document(figures | {"foreword": typed}, edition=1)
    assert "<img" not in html
    assert "&lt;b&gt;bold" in html


@pytest.mark.parametrize(
    "address", ["http://outside.example/a.png", "https://outside.example/", "file:///etc/passwd"]
)
def test_it_fetches_nothing_from_outside(address: str) -> None:
    with pytest.raises(OutsideRefused):
        typeset(f'<html lang="en"><title>t</title><img alt="" src="{address}"></html>')


def test_it_reads_what_lies_inside_the_document() -> None:
    assert NothingOutside().fetch("data:text/plain,riffle").read() == b"riffle"
