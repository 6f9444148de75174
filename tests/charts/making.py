"""Hands for the chart tests: parsed drawings, marks by class, and visits that follow each other."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TypedDict
from xml.etree.ElementTree import Element, fromstring

from portal.charts import Point, TriggerLine


class Title(TypedDict):
    title: str


class Names(Title):
    index_name: str


SVG = "{http://www.w3.org/2000/svg}"
START = date(2024, 1, 10)
TRIGGER = TriggerLine(50, date(2023, 1, 1))
NAMES: Names = {"title": "BMWP score at Alder Ford", "index_name": "BMWP score"}


def monthly(*values: float | None) -> list[Point]:
    """One visit every 30 days from the start."""
    return [Point(START + timedelta(days=30 * n), value) for n, value in enumerate(values)]


def parsed(svg: str) -> Element:
    return fromstring(svg)


def of_class(root: Element, name: str) -> list[Element]:
    """Elements of that class, those of the legend among them."""
    return [e for e in root.iter() if e.get("class") == name]


def visit_marks(root: Element, state: str) -> list[Element]:
    """The marks of visits in that state, without the legend's sample: visits stand in groups of their own."""
    return [e for group in root.iter(f"{SVG}g") for e in group if e.get("class") == f"rb-{state}"]


def words_of(root: Element) -> list[str]:
    return [e.text or "" for e in root.iter(f"{SVG}text")]


def title_of(root: Element) -> str:
    return root[0].text or ""
