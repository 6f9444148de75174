"""Filters for the frozen figures, which hold dates as text and scores as plain numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django import template
from django.utils.formats import date_format, number_format

from portal.charts.words import figure
from scoring.indices import METHODS
from surveys.texts.told import told

register = template.Library()
NOTHING = "–"


@register.filter
def as_day(text: str | None) -> str:
    """An ISO date or time as a date a reader says: 4 May 2025."""
    return date_format(datetime.fromisoformat(text).date(), "j F Y") if text else NOTHING


@register.filter
def as_short_day(text: str) -> str:
    """An ISO date without its year, for tables that stand under one."""
    return date_format(date.fromisoformat(text), "j M")


@register.filter
def as_moment(text: str | None) -> str:
    """An ISO time as date and hour."""
    return date_format(datetime.fromisoformat(text), "j F Y, H:i") if text else NOTHING


@register.filter
def score_of(scores: Mapping[str, float | None], index: str) -> str:
    """The score of that index with the decimals of its method."""
    value, places = scores.get(index), METHODS[index].decimals
    # number_format alone cuts further decimals off: 6.857 would stand as 6.85.
    return NOTHING if value is None else number_format(f"{value:.{places}f}", places)


@register.filter
def as_score(value: float | None, index: str) -> str:
    """A figure in the unit of that index, with the decimals of its method."""
    return score_of({index: value}, index)


@register.filter
def index_name(index: str) -> str:
    """What an index is called at the head of a column."""
    return told(METHODS[index].name)


@register.filter
def as_level(value: float | None) -> str:
    """A trigger level without idle zeros."""
    return NOTHING if value is None else figure(value)


@register.filter
def as_cell(tally: Sequence[int]) -> str:
    """Visits that found a taxon of those that looked for it, or a dash where none looked."""
    found, looked = tally
    return f"{found} / {looked}" if looked else NOTHING


@register.filter
def not_shown(visits: Sequence[Mapping[str, Any]]) -> list[str]:
    """Names that were recorded but have no place in the index of the site, each once."""
    return sorted({name for visit in visits for name in visit["left_out"]})
