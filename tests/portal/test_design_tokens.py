"""Contrast, computed from the style sheet itself, and the rules that keep colours in one place."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from portal.charts.svg import INK, PAPER, POOL, ROWAN, RULE, SOFT, WASH

CSS = Path(__file__).parents[2] / "portal" / "static" / "css"
TOKENS = (CSS / "tokens.css").read_text()
# These sheets are for paper, where there are no custom properties of ours and no policy.
ON_PAPER = {"evidence.css", "report.css", "sheet.css"}
ON_SCREEN = sorted(p for p in CSS.glob("*.css") if p.name not in ON_PAPER)
HEX = re.compile(r"--([a-z-]+): (#[0-9a-f]{6});")

Palette = dict[str, str]


def palette(scheme: str) -> Palette:
    light, dark, _print = re.split(r"@media [^{]+\{", TOKENS)
    return dict(HEX.findall(light)) | (dict(HEX.findall(dark)) if scheme == "dark" else {})


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it (w3.org/TR/WCAG22, "relative luminance")."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it: 1 to 21."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


# Text on the ground it really stands on; 7:1 where people read in bright sun.
READING = [
    ("ink", "paper"),
    ("ink", "sheet"),
    ("ink", "shade"),
    ("ink", "pool-wash"),
    ("ink", "moss-wash"),
    ("ink", "sand-wash"),
    ("ink", "rowan-wash"),
    ("ink-soft", "paper"),
    ("ink-soft", "sheet"),
    ("pool", "paper"),
    ("pool", "sheet"),
    ("on-pool", "pool"),
    ("on-pool", "pool-press"),
    ("on-deep", "deep"),
    ("moss", "moss-wash"),
    ("rowan", "paper"),
    ("rowan", "sheet"),
    ("sand", "paper"),
    ("sand", "sheet"),
    ("sand", "sand-wash"),
    ("sun-ink", "sun"),
    ("sun-ink", "marigold"),
    ("sun", "sun-stop"),
]
# Short words with a shape beside them.
LABELS = [
    ("ink-soft", "shade"),
    ("pool", "pool-wash"),
    ("pool-press", "pool-wash"),
    ("rowan", "rowan-wash"),
    ("on-rowan", "rowan"),
    ("on-rowan", "rowan-press"),
]
# Edges and marks that must be seen but are not read (WCAG 2.2, 1.4.11: 3:1).
EDGES = [
    ("edge", "paper"),
    ("edge", "sheet"),
    ("edge", "shade"),
    ("pool", "paper"),
    ("rowan", "paper"),
    ("marigold", "deep"),
    ("focus-outer", "focus-inner"),
    ("focus-outer", "deep"),
]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("front", "ground"), READING)
def test_it_reads_at_seven_to_one(scheme: str, front: str, ground: str) -> None:
    colours = palette(scheme)
    assert contrast(colours[front], colours[ground]) >= 7


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("front", "ground"), LABELS)
def test_it_labels_at_four_and_a_half_to_one_or_better(scheme: str, front: str, ground: str) -> None:
    colours = palette(scheme)
    assert contrast(colours[front], colours[ground]) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("front", "ground"), EDGES)
def test_it_shows_edges_at_three_to_one(scheme: str, front: str, ground: str) -> None:
    colours = palette(scheme)
    assert contrast(colours[front], colours[ground]) >= 3


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet", "shade", "deep", "pool", "rowan-wash"])
def test_it_shows_one_of_the_two_focus_rings_on_any_ground(scheme: str, ground: str) -> None:
    colours = palette(scheme)
    assert max(contrast(colours[r], colours[ground]) for r in ("focus-inner", "focus-outer")) >= 3


def test_it_computes_contrast_as_published() -> None:
    # WCAG 2.2: black on white is 21:1. The lightest grey that passes, #767676, has 4.54:1 (from memory).
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


def test_it_would_notice_a_pale_grey() -> None:
    assert contrast("#9aa5a1", palette("light")["paper"]) < 4.5


def test_it_gives_every_colour_a_dark_value_or_keeps_it_on_purpose() -> None:
    same = {n for n, v in palette("light").items() if palette("dark")[n] == v}
    assert same <= {"marigold", "focus-outer", "on-deep", "sun", "sun-ink", "sun-stop"}


@pytest.mark.parametrize("sheet", [p.name for p in ON_SCREEN if p.name != "tokens.css"])
def test_it_takes_every_colour_from_the_tokens(sheet: str) -> None:
    text = (CSS / sheet).read_text()
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b(?=[;\s,)])", text) == []
    used = set(re.findall(r"var\(--([a-z0-9-]+)", text))
    local = set(re.findall(r"^\s+--([a-z0-9-]+):", text, re.MULTILINE))
    known = set(re.findall(r"--([a-z0-9-]+):", TOKENS))
    assert used <= known | local


@pytest.mark.parametrize("sheet", ON_SCREEN, ids=lambda p: p.name)
def test_it_fetches_nothing_from_elsewhere(sheet: Path) -> None:
    assert "url(" not in sheet.read_text()
    assert "@import" not in sheet.read_text()


@pytest.mark.parametrize("sheet", ON_SCREEN, ids=lambda p: p.name)
def test_it_lets_nothing_ask_for_its_own_width(sheet: Path) -> None:
    """Chromium 156 drew no rows in a list that did, now and then, when the page came in several pieces.

    With the end of such a list still on its way the rows had no boxes for good: one page in five where the
    pieces were cut by a slow server, none in sixty without the container.
    """
    assert not re.search(r"container(-type|-name)?:|@container", sheet.read_text())


def test_it_draws_charts_in_the_light_values_of_the_tokens() -> None:
    light = palette("light")
    names = ("ink", "ink-soft", "rule", "pool", "rowan", "pool-wash", "sheet")
    assert [light[n] for n in names] == [INK, SOFT, RULE, POOL, ROWAN, WASH, PAPER]


@pytest.mark.parametrize("front", [INK, SOFT, POOL, ROWAN])
def test_it_draws_charts_that_read_on_white(front: str) -> None:
    assert contrast(front, PAPER) >= 7


def test_it_never_prints_the_dark_palette() -> None:
    assert "@media screen and (prefers-color-scheme: dark)" in TOKENS
    assert TOKENS.count("prefers-color-scheme") == 1
