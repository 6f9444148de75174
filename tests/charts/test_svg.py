"""The hand that writes SVG: escaped, deterministic, and nothing a strict policy would refuse."""

from __future__ import annotations

from html import escape

import pytest
from django.template import Context, Engine
from hypothesis import given
from hypothesis import strategies as st

from portal.charts.svg import STYLES, Drawing, canvas, clean, finish, number, put, text_width, write
from portal.charts.words import ENGLISH, figure, words_for
from tests.charts.making import START, parsed, title_of

HOSTILE = '</title><script>alert("x")</script>&amp; " \' ]]> \x00\x0b\ud800 ünïcode \N{FISH}'


@pytest.mark.parametrize(
    ("value", "text"),
    [(1, "1"), (1.5, "1.5"), (1.005, "1"), (2 / 3, "0.67"), (-0.001, "0"), (-3.1, "-3.1"), (100, "100")],
)
def test_it_rounds_coordinates_to_a_hundredth(value: float, text: str) -> None:
    assert number(value) == text


def test_it_names_the_image_first_and_describes_it_second() -> None:
    root = parsed(finish(canvas(10, 5, title="A", desc="B", lang="en", kind="history")))
    assert [(e.tag.split("}")[1], e.text) for e in root] == [("title", "A"), ("desc", "B")]
    assert root.get("role") == "img"
    assert root.get("viewBox") == "0 0 10 5"


def test_it_escapes_whatever_a_title_holds() -> None:
    svg = finish(canvas(10, 5, title=HOSTILE, desc=HOSTILE, lang="en", kind="spark"))
    assert "<script" not in svg
    assert title_of(parsed(svg)) == clean(HOSTILE)


@given(st.text())
def test_it_writes_well_formed_xml_for_any_text(text: str) -> None:
    root = canvas(10, 5, title=text, desc=text, lang="en", kind="spark")
    write(root, 1, 1, text)
    again = parsed(finish(root))
    # XML itself turns carriage returns into line feeds.
    assert title_of(again).replace("\r", "\n") == clean(text).replace("\r\n", "\n").replace("\r", "\n")


def test_it_takes_out_what_xml_cannot_hold() -> None:
    assert clean("a\x00b\x1fc\ud800d\ufffee\tf\n") == "abcde\tf\n"


def test_it_writes_a_style_as_class_and_attributes_never_as_css() -> None:
    root = canvas(10, 5, title="A", desc="B", lang="en", kind="spark")
    line = put(root, "line", "trigger", x1=1.234, stroke_width="4")
    assert line.get("class") == "rb-trigger"
    assert line.get("x1") == "1.23"
    assert line.get("stroke-width") == "4"
    assert "style" not in line.attrib


# "reach" is what a finger may touch about a mark, and is not seen.
@pytest.mark.parametrize("style", [style for style in STYLES if style != "reach"])
def test_it_gives_every_style_a_colour_of_its_own_for_mail_and_paper(style: str) -> None:
    assert any(STYLES[style].get(a, "").startswith("#") for a in ("fill", "stroke"))


def test_it_is_taken_by_a_template_as_it_is_while_other_text_is_escaped() -> None:
    template = Engine().from_string("{{ drawing }}{{ text }}")
    shown = template.render(Context({"drawing": Drawing("<svg/>"), "text": "<svg/>"}))
    assert shown == "<svg/>" + escape("<svg/>")


def test_it_guesses_wider_texts_wider() -> None:
    assert text_width("trigger 50") > text_width("trigger") > 0


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (7.99, "7.99"),
        (88, "88"),
        (88.0, "88"),
        (0.1 + 0.2, "0.3"),
        (-3.5, "−3.5"),
        (-0.001, "0"),
        (100, "100"),
        (0, "0"),
    ],
)
def test_it_writes_figures_without_idle_zeros(value: float, text: str) -> None:
    assert figure(value) == text


def test_it_rounds_a_figure_to_the_places_asked() -> None:
    assert figure(2.345, 1) == "2.3"
    assert figure(12.6, 0) == "13"
    assert figure(100, 0) == "100"


@pytest.mark.parametrize("lang", ["en", "en-gb", "EN-GB", "xx"])
def test_it_falls_back_to_english_words(lang: str) -> None:
    assert words_for(lang) is ENGLISH


def test_it_says_a_date_the_same_on_every_machine() -> None:
    assert ENGLISH.day(START) == "10 Jan 2024"


def test_it_says_the_language_it_really_writes() -> None:
    root = canvas(10, 5, title="A", desc="B", lang=words_for("xx").lang, kind="spark")
    assert 'xml:lang="en"' in finish(root)
