"""One whole report as published: its text and structure read back and held against the database.

The figures of the summary are computed anew here, from rows and by other code than the report's.
"""

from __future__ import annotations

import io
import json
import re
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from itertools import combinations, pairwise
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
import page
import pytest
from PIL import Image
from pypdf import PdfReader
from pypdf.generic import DictionaryObject

from alerts.models import Incident, Verdict
from portal.accounts.models import Membership
from portal.reports.document import typeset
from portal.reports.models import YearlyReport
from portal.reports.services import (
    make_report,
    making,
    publish_report,
    request_report,
    reword_report,
    set_picture,
)
from portal.reports.services.requesting import Words
from surveys.exporting.models import PublishingTerms
from surveys.models import Site, TaxonCount, Visit, VisitScore
from surveys.people.models import Training, TrainingKind
from tests.conftest import make_cast
from tests.factories import CLEAN_COUNTS, VisitFactory
from tests.lasting import built_once
from tests.reports.decade import FALLING, LAST_YEAR, RISING, TRIGGER, fill_decade

SITES, YEARS = 4, 8
# Type and dictionary of structure elements; what stands in them, pypdf does not type.
Elements = list[tuple[str, Any]]


@dataclass(frozen=True)
class Whole:
    """A published report with its file read."""

    report: YearlyReport
    pdf: bytes
    reader: PdfReader
    text: str


def _build() -> Whole:
    cast = make_cast()
    fill_decade(cast, sites=SITES, years=YEARS)
    person = cast.person("coordinator")
    Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(show_name=True)
    _add_quality(cast.group, cast.volunteer, cast.coordinator)
    PublishingTerms.objects.create(group=cast.group, licence="CC-BY-4.0", attribution="The Alder watchers")
    set_picture(
        person=person,
        group=cast.group,
        upload=_picture(),
        alt="Two people at a riffle.",
        people="agreed",
        credit="A. Fern",
    )
    report = request_report(person=person, group=cast.group, year=LAST_YEAR, foreword="A dry spring.")
    _make_draft(report)
    site = report.data["sites"][0]["id"]
    words = Words(
        foreword="A dry spring.", captions={f"site-{site}": "The pipe was mended."}, left_out=["effort"]
    )
    reword_report(person=person, report=report, words=words)
    _make_draft(report)
    publish_report(person=person, report=report)
    report.refresh_from_db()
    pdf = Path(report.file.path).read_bytes()
    reader = PdfReader(io.BytesIO(pdf))
    text = " ".join(" ".join(each.extract_text() for each in reader.pages).split())
    return Whole(report, pdf, reader, text)


def _make_draft(report: YearlyReport) -> None:
    """What is published is set anew; nobody reads the drafts before it, so that they are one empty page."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(making, "typeset", lambda _html: typeset('<html lang="en"><title>Draft</title></html>'))
        make_report(report.pk)
    report.refresh_from_db()


def _picture() -> io.BytesIO:
    file = io.BytesIO()
    Image.effect_noise((2400, 1600), 60).convert("RGB").save(file, "JPEG")
    file.seek(0)
    return file


def _add_quality(group: Any, volunteer: Any, coordinator: Any) -> None:
    """A duplicate of one visit, and a training that is in force beside one that has lapsed."""
    first = Visit.objects.of_group(group).filter(visited_on__year=LAST_YEAR).order_by("pk")[0]
    fields = {"visited_on": first.visited_on, "status": "approved", "reviewed_by": coordinator}
    again = VisitFactory(site=first.site, entered_by=volunteer, recorder=volunteer, **fields)
    TaxonCount.objects.bulk_create(
        TaxonCount(visit=again, taxon=taxon, count=count) for taxon, count in CLEAN_COUNTS.items()
    )
    kind = TrainingKind.objects.create(group=group, name="Kick sampling", permits="sample")
    member = Membership.objects.of_group(group).get(user=volunteer)
    other = Membership.objects.of_group(group).get(user=coordinator)
    for who, day, until in ((member, date(LAST_YEAR, 3, 1), None), (other, date(2020, 3, 1), date(2022, 3, 1))):
        Training.objects.create(membership=who, kind=kind, trained_on=day, valid_until=until, trainer_name="T")


built = built_once(_build)


@pytest.fixture
def whole(built: Whole, db: None) -> Whole:
    return built


def sentences(whole: Whole) -> list[str]:
    return [words for part in whole.report.data["summary_parts"] for words in part["sentences"]]


def made_in_the_year(whole: Whole) -> Any:
    year = Visit.objects.of_group(whole.report.group).filter(visited_on__year=LAST_YEAR)
    return year.filter(status="approved", was_made=True)


def test_what_was_done_is_as_the_rows_say(whole: Whole) -> None:
    made = made_in_the_year(whole).count()
    per_site = Counter(made_in_the_year(whole).values_list("site__code", flat=True))
    # 365 days at an interval of 30 ask for 12 visits to each site.
    missing = sum(max(0, 12 - number) for number in per_site.values())
    spots = made_in_the_year(whole).values_list("spots__seconds", flat=True)
    minutes = round(sum(float(each) for each in spots if each is not None) / 60)
    told = sentences(whole)
    assert f"Volunteers made {made} visits to {SITES} sites; {12 * SITES} had been planned." in told
    assert f"2 people took part and kicked for {minutes} minutes in all." in told
    assert next(words for words in told if "no record" in words).startswith(f"Of {missing} planned visit")


def test_what_happened_is_as_the_rows_say(whole: Whole) -> None:
    group, told = whole.report.group, sentences(whole)
    verdicts = Verdict.objects.of_group(group).filter(visit__visited_on__year=LAST_YEAR)
    below = list(
        verdicts.filter(outcome="below").values_list("visit__site__code", "value", "visit__visited_on")
    )
    tested = verdicts.exclude(outcome="not_tested").count()
    assert below
    assert (
        f"{tested} visits could be tested against the trigger of their site, and {len(below)} fell below it."
        in told
    )
    counted = ", ".join(f"{code} ({n})" for code, n in sorted(Counter(code for code, *_ in below).items()))
    assert f"Visits below the trigger: {counted}." in told
    # One trigger for all sites: the lowest score is the deepest fall, the first day among equals.
    code, value, day = min(below, key=lambda row: (row[1], row[2]))
    fall = f"The deepest fall was at {code} on {day.day} {day:%B}: {value:.3g} against a trigger of {TRIGGER}."
    assert fall in told
    incidents = Incident.objects.of_group(group).filter(year=LAST_YEAR)
    waits = [
        (each.acknowledged_at - each.opened_at).total_seconds() / 3600
        for each in incidents
        if each.acknowledged_at
    ]
    assert any(
        words.startswith(f"{len(incidents)} incident") and f"Acknowledged: {len(waits)}." in words
        for words in told
    )
    assert f"Half of the acknowledgements came within {median(waits):.1f} hours." in told
    outcomes = Counter(each.get_outcome_display() for each in incidents)
    (line,) = [words for words in told if words.startswith("What came of them")]
    assert {(name, int(n)) for name, n in re.findall(r"(?:: |, )([^,(]+) \((\d+)\)", line)} == set(
        outcomes.items()
    )


def _scores(whole: Whole) -> dict[str, list[tuple[date, float]]]:
    rows = VisitScore.objects.of_group(whole.report.group).filter(index="aspt", is_current=True)
    found: dict[str, list[tuple[date, float]]] = defaultdict(list)
    for code, day, value in rows.values_list("visit__site__code", "visit__visited_on", "value"):
        if value is not None:
            found[code].append((day, value))
    return found


def _change(scores: list[tuple[date, float]]) -> tuple[float, float, float]:
    """Hodges-Lehmann difference of the year to like months before, limits by the normal rank sum law."""
    earlier = [[v for d, v in scores if d.month == m and d.year < LAST_YEAR] for m in range(1, 13)]
    usual = {m: np.median(values) for m, values in enumerate(earlier, 1) if len(values) >= 3}
    gaps = [
        [v - usual[d.month] for d, v in scores if (d.year == LAST_YEAR) == now and d.month in usual]
        for now in (False, True)
    ]
    before, during = (np.array(each) for each in gaps)
    steps = np.sort(np.subtract.outer(during, before).ravel())
    m, n = len(before), len(during)
    rank = int(m * n / 2 - 1.959964 * np.sqrt(m * n * (m + n + 1) / 12))
    return float(np.median(steps)), float(steps[rank - 1]), float(steps[-rank])


def test_the_change_of_each_site_is_that_of_the_scores(whole: Whole) -> None:
    scores, clear = _scores(whole), {}
    for site in whole.report.data["sites"]:
        difference, low, high = _change(scores[site["code"]])
        told = site["change"]["year"]
        assert (told["difference"], told["low"], told["high"]) == pytest.approx((difference, low, high))
        clear[site["code"]] = "" if low <= 0 <= high else ("better" if difference > 0 else "worse")
    assert clear[FALLING] == "worse"
    names = {
        word: ", ".join(code for code, found in clear.items() if found == word) for word in ("better", "worse")
    }
    (line,) = [words for words in sentences(whole) if words.startswith("Against earlier years")]
    assert f"Of worse water at: {names['worse']}." in line
    assert (f"better water at: {names['better']}." in line) == bool(names["better"])


def test_the_trend_of_each_site_is_that_of_the_scores(whole: Whole) -> None:
    """Sen's slope within the months (Gilbert 1987): the median of the steps from year to year."""
    for site in whole.report.data["sites"]:
        by_month: dict[int, list[tuple[int, float]]] = defaultdict(list)
        for day, value in sorted(_scores(whole)[site["code"]]):
            by_month[day.month].append((day.year, value))
        slopes = [(b[1] - a[1]) / (b[0] - a[0]) for each in by_month.values() for a, b in combinations(each, 2)]
        assert site["change"]["trend"]["slope"] == pytest.approx(np.median(slopes))
    assert any(f"a trend to better water shows at {RISING}" in words for words in sentences(whole))


def test_every_sentence_and_word_of_the_coordinator_stands_in_the_file(whole: Whole) -> None:
    for words in [*sentences(whole), "A dry spring.", "The pipe was mended.", "Picture: A. Fern."]:
        assert words in whole.text


def test_each_page_of_a_site_shows_its_years_and_visits(whole: Whole) -> None:
    for site in Site.objects.of_group(whole.report.group).filter(code__in=_scores(whole)):
        found = [" ".join(each.extract_text().split()) for each in whole.reader.pages]
        text = next(each for each in found if f"{site.code} {site.name}" in each and "year by year" in each)
        values = [v for d, v in _scores(whole)[site.code] if d.year == 2020]
        low = Verdict.objects.of_group(site.group).filter(
            visit__site=site, visit__visited_on__year=2020, outcome="below"
        )
        row = f"2020 {len(values)} {median(values):.2f} {min(values):.2f} {low.count()}"
        assert row in text
        for reference in Incident.objects.of_group(site.group).filter(site=site, year=LAST_YEAR):
            assert reference.reference in text


def test_duplicates_trainings_and_licence_are_told(whole: Whole) -> None:
    assert "1 pair of approved visits was made at one site on one day" in whole.text
    assert re.search(r"Kick sampling 1 1\b", whole.text)
    assert "CC BY 4.0" in whole.text
    assert "Name as source: The Alder watchers." in whole.text


def test_what_is_left_out_is_said_and_gone(whole: Whole) -> None:
    assert "Left out of this report by the group: Who did the work." in whole.text
    assert "With thanks to" not in whole.text


def test_it_is_sealed_with_identifier_and_digest(whole: Whole) -> None:
    report = whole.report
    assert report.identifier in whole.text
    frozen = json.dumps(report.data, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    assert report.digest == sha256(frozen.encode()).hexdigest()
    assert report.digest in whole.text.replace(" ", "")
    assert f"/id/{report.identifier.removeprefix('rifflebook:')}/" in whole.text.replace(" ", "")


def test_it_keeps_the_standard_with_picture_and_charts_and_is_small(whole: Whole) -> None:
    checked = page.validate_pdf_bytes(whole.pdf, profile=page.ValidationProfile.PDF_UA_1)
    assert checked.is_compliant, str(checked)
    assert len(whole.pdf) < 2_500_000


def elements(reader: PdfReader) -> Elements:
    """Type and dictionary of each structure element, in the order a screen reader takes them."""
    root: Any = reader.root_object["/StructTreeRoot"]

    def walk(node: Any) -> Iterator[tuple[str, Any]]:
        node = node.get_object()
        if not isinstance(node, DictionaryObject):
            return
        if "/S" in node:
            yield str(node["/S"]), node
        kids = node.get("/K", [])
        for kid in kids if isinstance(kids, list) else [kids]:
            if not isinstance(kid, int):
                yield from walk(kid)

    return list(walk(root))


def test_each_chart_and_picture_has_words(whole: Whole) -> None:
    found = elements(whole.reader)
    alts = [str(node["/Alt"]) for kind, node in found if kind == "/Figure"]
    # Two charts of each site, the sketch and the picture.
    assert len(alts) == 2 * SITES + 2
    assert "Two people at a riffle." in alts
    assert all(alts)


def test_each_cell_of_a_table_names_its_headers(whole: Whole) -> None:
    found = elements(whole.reader)
    headers = {str(node["/ID"]) for kind, node in found if kind == "/TH"}
    cells = [node["/A"]["/Headers"] for kind, node in found if kind == "/TD"]
    assert len(cells) > 100
    assert all(named and {str(each) for each in named} <= headers for named in cells)


def test_headings_step_down_one_at_a_time_in_reading_order(whole: Whole) -> None:
    levels = [int(kind[2:]) for kind, _ in elements(whole.reader) if re.fullmatch(r"/H\d", kind)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_its_fonts_are_embedded_and_free_to_embed(whole: Whole) -> None:
    resources: list[Any] = [each["/Resources"] for each in whole.reader.pages]
    fonts = [font.get_object() for each in resources for font in each["/Font"].values()]
    assert fonts
    for font in fonts:
        inner = font["/DescendantFonts"][0].get_object()
        described = inner["/FontDescriptor"].get_object()
        assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(described)
        assert "DejaVu" in str(font["/BaseFont"])
