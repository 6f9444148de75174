"""The record sheet on paper: one page, in the order of the form, readable by a screen reader too."""

from __future__ import annotations

import io
import re
from copy import deepcopy
from html import unescape

import page
import pytest
from pypdf import PdfReader

from surveys.lists.lines import read_lines
from surveys.models import Site
from surveys.paper.record_sheet import SIZES, write_sheet
from surveys.services.kits import save_kit
from surveys.services.lists import create_list
from tests.conftest import Cast, make_cast
from tests.lasting import built_once
from tests.surveys.pages import address, signed_in

pytestmark = pytest.mark.django_db
TAGS = '<img src="http://outside.example/spy.png"> & wire'
SPOT_ONE = ("Flow type", "Kicks", "Time, s", "Depth, cm")


# One for all tests of the module: a sheet that has been set is kept, and set once for all who look at it.
once = built_once(make_cast)


@pytest.fixture
def cast(once: Cast, db: None) -> Cast:
    return deepcopy(once)


@pytest.fixture
def site(cast: Cast) -> Site:
    site = cast.site
    site.hazards = f"Deep pool below the weir. {TAGS}"
    site.level_limit = "the third stone is under water"
    site.save()
    return site


def sheet(site: Site, kits: list[tuple[str, str]] | None = None) -> bytes:
    return write_sheet(site, list(site.recording_list.taxa.all()), kits or [])


def text_of(pdf: bytes) -> str:
    pages = [each.extract_text() for each in PdfReader(io.BytesIO(pdf)).pages]
    return " ".join(" ".join(pages).split())


def pages_of(pdf: bytes) -> int:
    return len(PdfReader(io.BytesIO(pdf)).pages)


def form_labels(html: str) -> list[str]:
    """What the form asks for, from top to bottom: labels, legends of choices, and the taxa of its rows."""
    form = html[html.index('id="visit-form"') :]
    found = re.findall(
        r'<(?:label|legend)[^>]*class="field-label[^>]*>(.*?)</(?:label|legend)>'
        r'|<p class="count-name"[^>]*><strong>(.*?)</strong>',
        form,
        re.DOTALL,
    )
    words = (unescape(re.sub(r"<[^>]+>", "", label or taxon)) for label, taxon in found)
    return [" ".join(each.split()) for each in words]


def test_its_order_is_that_of_the_form(cast: Cast, site: Site) -> None:
    kit = save_kit(person=cast.person("coordinator"), group=cast.group, kit=None, name="Red bag")
    start = address("visit_start", cast.group, site_id=site.pk)
    html = signed_in(cast.volunteer).post(start, follow=True).content.decode()
    text = text_of(sheet(site, [(str(kit.pk), kit.name)]))
    shared = [label for label in dict.fromkeys(form_labels(html)) if label in text]
    places = []
    after = text.index("The visit")
    for label in shared:
        found = text.find(label, after)
        assert found >= 0, f"{label} stands on the sheet before its place in the form"
        places.append((label, found))
        after = found
    assert len(shared) > 90, "the form's labels were really found"
    taxa = [each.taxon for each in site.recording_list.taxa.all()]
    assert [label for label in shared if label in taxa] == taxa


def test_nothing_of_the_form_is_missing(site: Site) -> None:
    text = text_of(sheet(site))
    labels = (
        *("Was the sample taken?", "Why it could not be made", "Date of the visit", "Start", "End"),
        *("Recorder", "Partner", "Or the partner's name", "We went through the checklist"),
        *("Water level", "Clarity of the water", "Weather now", "Weather of the past week"),
        *("Signs of pollution", *SPOT_ONE, "Water temperature", "Phosphate", "Fraction sorted"),
        *("Other taxa you found", "Picked out of the whole tray", "Notes"),
    )
    assert [label for label in labels if label not in text] == []


def test_it_says_hazards_limit_effort_and_cautions(site: Site) -> None:
    text = text_of(sheet(site))
    for words in (
        "Deep pool below the weir",
        "the third stone is under water",
        "3 spots, 3 kicks of 10 s at each, 90 s in all",
        "If in doubt, stay out",
        "no emergency service",
        "54.50000, -2.50000",
    ):
        assert words in text, words


def test_it_has_a_box_for_each_kick_of_each_spot(site: Site) -> None:
    site.spots, site.kicks_per_spot = 2, 5
    grid = text_of(sheet(site)).partition("Depth, cm")[2].partition("Measurements")[0]
    assert re.findall(r"\d+", grid) == ["1", "1", "2", "3", "4", "5", "2", "1", "2", "3", "4", "5"]


@pytest.mark.parametrize(("spots", "kicks", "hazards"), [(3, 3, 1), (6, 6, 60)], ids=["usual", "large"])
def test_eighty_families_fit_one_page(site: Site, spots: int, kicks: int, hazards: int) -> None:
    site.spots, site.kicks_per_spot, site.hazards = spots, kicks, site.hazards * hazards
    assert site.recording_list.taxa.count() > 75
    assert pages_of(sheet(site)) == 1


def test_a_short_list_is_set_large(cast: Cast, site: Site) -> None:
    short = create_list(
        person=cast.person("coordinator"), group=cast.group, name="Short", lines=read_lines("Baetidae\nElmidae")
    )
    site.recording_list = short
    reader = PdfReader(io.BytesIO(sheet(site)))
    sizes: set[float] = set()
    reader.pages[0].extract_text(visitor_text=lambda _t, _c, _m, _f, size: sizes.add(round(size or 0, 1)))
    assert len(reader.pages) == 1
    assert any(abs(size - SIZES[0]) < 0.2 or abs(size * 0.75 - SIZES[0]) < 0.2 for size in sizes), sizes


def test_it_can_be_read_by_a_screen_reader(site: Site) -> None:
    pdf = sheet(site)
    report = page.validate_pdf_bytes(pdf, profile=page.ValidationProfile.PDF_UA_1)
    assert report.is_compliant, str(report)
    reader = PdfReader(io.BytesIO(pdf))
    assert reader.metadata is not None
    assert reader.metadata.title == "Record sheet: AB1 Stepping stones"


def test_what_people_typed_stays_text(site: Site) -> None:
    assert site.hazards.endswith(TAGS)
    assert TAGS in text_of(sheet(site))


def test_members_get_it_as_a_file_to_be_shown(cast: Cast, site: Site) -> None:
    answer = signed_in(cast.volunteer).get(address("record_sheet", cast.group, site_id=site.pk))
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == 'inline; filename="ab1-sheet.pdf"'
    assert answer.content.startswith(b"%PDF-")


def test_a_second_copy_is_not_set_again(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    first = sheet(site)
    monkeypatch.setattr("surveys.paper.record_sheet.lay_out", lambda *_: pytest.fail("set again"))
    assert sheet(site) == first


def test_a_changed_site_is_set_anew(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet(site)
    monkeypatch.setattr("surveys.paper.record_sheet._set", lambda *_: b"set anew")
    site.hazards = "A bull in the field."
    assert sheet(site) == b"set anew"
