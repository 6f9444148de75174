"""The record sheet of a site on paper: one page, in the order of the form, so that it is typed in quickly.

Labels and their order come from the form itself; only the places to write in are the paper's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from django.core.cache import caches
from django.forms.boundfield import BoundField
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.text import Truncator

from surveys.forms import VisitEntry, visit_entry
from surveys.models import ListTaxon, Site
from surveys.paper.typesetting import as_pdf, lay_out, style_text
from surveys.places.sites import place_of

# Letter sizes in points, tried in turn until the sheet fits its page; smaller cannot be read at the water.
SIZES = (8.5, 8.0, 7.5, 7.0, 6.5, 6.0)
MOST_HAZARD_LETTERS = 700
# So many names have room at the largest size; a longer list begins with a smaller one.
ROOMY, LONG = 30, 60
KEPT_SECONDS = 24 * 3600
OTHER_LINES, WHOLE_LINES = 4, 2


@dataclass(frozen=True)
class PaperSpot:
    """One line of the effort grid, with a box for each kick."""

    number: int
    boxes: range


def write_sheet(site: Site, taxa: list[ListTaxon], kits: list[tuple[str, str]]) -> bytes:
    """The sheet as a tagged PDF: one page, unless a site's plan and hazards are beyond all that is usual.

    Kept for a day under its own content: setting a page takes a second or two.
    """
    html, style = render_sheet(site, taxa, kits), style_text("css/sheet.css")
    key = sha256(f"{html}{style}".encode()).hexdigest()
    kept = caches["own"]
    pdf = kept.get(f"sheet:{key}")
    if pdf is None:
        pdf = _set(html, style, len(taxa))
        kept.set(f"sheet:{key}", pdf, KEPT_SECONDS)
    return bytes(pdf)


def _set(html: str, style: str, names: int) -> bytes:
    for size in _sizes_for(names):
        document = lay_out(html, [style, f"html {{ font-size: {size}pt }}"])
        if len(document.pages) == 1:
            break
    return as_pdf(document)


def _sizes_for(names: int) -> tuple[float, ...]:
    first = 0 if names <= ROOMY else 1 if names <= LONG else 2
    return SIZES[first:]


def render_sheet(site: Site, taxa: list[ListTaxon], kits: list[tuple[str, str]]) -> str:
    """The sheet as HTML."""
    entry = visit_entry(site=site, people=[], kits=kits, taxa=taxa, data={})
    spots = [PaperSpot(number, range(1, site.kicks_per_spot + 1)) for number in range(1, site.spots + 1)]
    context: dict[str, Any] = {
        "site": site,
        "place": place_of(site),
        "hazards": Truncator(site.hazards).chars(MOST_HAZARD_LETTERS),
        "language": translation.get_language(),
        "entry": entry,
        "choices": _choices(entry),
        "spots": spots,
        "spot_labels": [field.label for field in _first_spot(entry)],
        "readings": list(_readings(entry)),
        "kits": [name for _key, name in kits],
        "other_lines": range(OTHER_LINES),
        "whole_lines": range(WHOLE_LINES),
        "printed_on": timezone.localdate(),
    }
    return render_to_string("surveys/record_sheet.html", context)


def _choices(entry: VisitEntry) -> dict[str, list[str]]:
    """The answers that paper offers to be ringed, by field; the form's first one stands for no answer."""
    names = ("not_made_reason", "water_level", "clarity", "weather", "weather_past_week", "spots-1-flow_type")
    return {
        name.removeprefix("spots-1-"): [_short(words) for _key, words in _options(entry, name)]
        for name in names
    }


def _options(entry: VisitEntry, name: str) -> list[tuple[str, Any]]:
    field: Any = entry.form.fields[name]
    return list(field.choices)[1:]


def _short(words: object) -> str:
    """The words before a bracket or comma: room on paper is scarce, and the form says the rest."""
    return str(words).split(" (")[0].split(",")[0]


def _first_spot(entry: VisitEntry) -> list[BoundField]:
    return next(iter(entry.form.spots()))[1]


def _readings(entry: VisitEntry) -> Iterator[tuple[str, str]]:
    """Each quantity's label with its unit, or with the units to choose from."""
    for value, unit in entry.form.measurements():
        shown = " / ".join(_units(value, unit))
        yield str(value.label), "" if shown == str(value.label) else shown


def _units(value: BoundField, unit: BoundField | None) -> list[str]:
    if unit is None:
        return [str(value.field.widget.attrs["data-unit"])]
    choices: Any = unit.field
    return [str(key) for key, _words in choices.choices]
