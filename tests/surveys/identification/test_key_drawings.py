"""The drawings: each says what it shows, is small, and holds nothing but paths."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

import surveys.identification
from surveys.identification.drawings import InvalidDrawing, load_drawings, read_drawing

FOLDER = Path(surveys.identification.__file__).parent / "drawings"
FILES = sorted(FOLDER.iterdir())
LARGEST = 2_700
SVG = "{http://www.w3.org/2000/svg}"
SOUND = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 160 100"><title>A line</title>'
    '<g fill="none"><path d="M1 1l2 2"/></g></svg>\n'
)


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_each_drawing_is_small_and_says_what_it_shows(file: Path) -> None:
    assert file.suffix == ".svg"
    assert file.stat().st_size <= LARGEST
    title = load_drawings()[file.stem].title
    assert 25 <= len(title) <= 150
    assert title[0].isupper()


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_each_drawing_is_strokes_in_one_ink_on_white(file: Path) -> None:
    root = ElementTree.fromstring(file.read_text())
    assert {part.tag for part in root.iter()} == {f"{SVG}svg", f"{SVG}title", f"{SVG}g", f"{SVG}path"}
    colours = {part.get(name) for part in root.iter() for name in ("fill", "stroke")} - {None}
    assert colours <= {"none", "#fff", "#13211f", "#d5dcda"}
    assert "#13211f" in colours


def test_no_two_drawings_are_the_same_or_say_the_same() -> None:
    drawings = load_drawings().values()
    assert len({each.inside for each in drawings}) == len(drawings)
    assert len({each.title for each in drawings}) == len(drawings)


def test_a_sound_drawing_is_read() -> None:
    drawing = read_drawing("line", SOUND)
    assert (drawing.name, drawing.title) == ("line", "A line")
    assert drawing.inside == '<g fill="none"><path d="M1 1l2 2"/></g>'


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("<title>A line</title>", ""),
        ("<title>A line</title>", "<title></title>"),
        ('<path d="M1 1l2 2"/>', "<script>go()</script>"),
        ('<path d="M1 1l2 2"/>', '<image href="x"/>'),
        ('<path d="M1 1l2 2"/>', ""),
        ("0 0 160 100", "0 0 10 10"),
        ("</svg>\n", "</svg><p>more</p>\n"),
    ],
)
def test_anything_else_is_refused(old: str, new: str) -> None:
    with pytest.raises(InvalidDrawing, match="line"):
        read_drawing("line", SOUND.replace(old, new))
