"""The picture for e-mail, really drawn, and the PDF page, really checked."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import Any

import page
import pytest
import resvg_py
import weasyprint
from PIL import Image, ImageChops

from portal.charts import Point, draw_history, draw_season, sparkline, stacked, to_png
from tests.charts.making import NAMES, START, TRIGGER, monthly

CHART = draw_history([*monthly(78, 90, None, 84)[:3], Point(START, 31, below=True)], [TRIGGER], **NAMES)


def picture(png: bytes) -> Image.Image:
    return Image.open(BytesIO(png)).convert("RGB")


def test_it_draws_a_png_of_the_width_asked_for() -> None:
    image = picture(to_png(CHART, width=600))
    assert image.size == (600, 234)


def test_it_draws_on_white_with_ink_pool_and_rowan() -> None:
    colours = {colour for _, colour in picture(to_png(CHART, width=1440)).getcolors(1 << 24) or []}
    assert {(255, 255, 255), (0x13, 0x21, 0x1F), (0x0A, 0x4A, 0x58), (0x97, 0x20, 0x1A)} <= colours


def test_it_keeps_every_meaning_in_grey() -> None:
    states = [
        Point(START, 60),
        Point(START, 60, below=True),
        Point(START, 60, tested=False),
        Point(START, None),
    ]
    greys = [
        picture(to_png(draw_history([s], [], **NAMES), width=720)).convert("L").crop((0, 30, 720, 200))
        for s in states
    ]
    assert len({grey.tobytes() for grey in greys}) == 4


def test_it_writes_words_that_can_be_seen() -> None:
    empty = draw_history([], [], **NAMES)
    dark = sum(picture(to_png(empty, width=720)).convert("L").histogram()[:128])
    assert dark > 200


def test_it_draws_the_marks_even_where_no_font_is_installed() -> None:
    png = bytes(
        resvg_py.svg_to_bytes(svg_string=str(CHART), width=720, background="#ffffff", skip_system_fonts=True)
    )
    assert sum(picture(png).convert("L").histogram()[:128]) > 200


@pytest.mark.parametrize("drawing", [draw_season(monthly(5, 6), **NAMES), sparkline(monthly(5, 6), title="T")])
def test_it_draws_the_other_charts_too(drawing: str) -> None:
    assert len(picture(to_png(drawing, width=300)).getcolors(1 << 24) or []) > 3


def test_drawings_below_each_other_are_painted_as_each_by_itself() -> None:
    both = stacked(CHART, CHART, gap=0)
    alone, whole = picture(to_png(CHART, width=720)), picture(to_png(both, width=720))
    for top in (0, alone.height):
        part = whole.crop((0, top, 720, top + alone.height))
        bands: Any = ImageChops.difference(part, alone).getextrema()
        assert max(most for _least, most in bands) < 40
    assert str(both).count('overflow="visible"') == 2, "each would be painted on a canvas of its own"


@pytest.mark.parametrize("width", [0, -1])
def test_it_refuses_a_picture_without_width(width: int) -> None:
    with pytest.raises(ValueError, match="at least one pixel"):
        to_png(CHART, width=width)


def test_it_refuses_what_is_not_svg() -> None:
    with pytest.raises(ValueError, match="unknown token"):
        to_png("not a drawing", width=100)


def test_it_makes_the_same_bytes_twice() -> None:
    assert to_png(CHART, width=300) == to_png(CHART, width=300)


def pdf_failures(body: str, folder: Path) -> str:
    """PDF/UA-1 verdict of a page that holds the body, as the checker prints it."""
    html = f'<html lang="en"><head><title>Report</title></head><body><h1>Report</h1>{body}</body></html>'
    path = folder / "page.pdf"
    weasyprint.HTML(string=html).write_pdf(path, pdf_variant="pdf/ua-1")
    return str(page.validate_pdf(path, profile=page.ValidationProfile.PDF_UA_1))


@pytest.mark.parametrize(
    "drawing",
    [
        CHART,
        draw_season(monthly(5, 6), **NAMES),
        sparkline(monthly(5), title="T"),
        draw_history([], [], **NAMES),
    ],
)
def test_it_passes_the_accessible_pdf_check_on_a_page(drawing: str, tmp_path: Path) -> None:
    assert " 0 failed" in pdf_failures(drawing, tmp_path)


def test_it_would_fail_that_check_without_its_title(tmp_path: Path) -> None:
    nameless = CHART.replace("<title>", "<metadata>", 1).replace("</title>", "</metadata>", 1)
    assert " 0 failed" not in pdf_failures(nameless, tmp_path)
