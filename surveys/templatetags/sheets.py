"""What a sheet was taken for, in words."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from surveys.forms.imports import DAYS, LAYOUTS
from surveys.histories import label_of
from surveys.importing.decoding import ReadAs

register = template.Library()
_ENCODINGS = {"utf-8": "UTF-8", "utf-16": "UTF-16", "windows-1252": "Windows-1252"}
_SEPARATORS = {
    ",": gettext_lazy("cells separated by commas"),
    ";": gettext_lazy("cells separated by semicolons"),
    "\t": gettext_lazy("cells separated by tabs"),
}


@register.filter
def file_in_words(read_as: ReadAs) -> str:
    """Kind, encoding and separator of a file."""
    if read_as.kind != "csv":
        return _("XLSX, its first sheet")
    told = {"encoding": _ENCODINGS[read_as.encoding], "separator": str(_SEPARATORS[read_as.separator])}
    return _("CSV in %(encoding)s, %(separator)s") % told


@register.filter
def layout_in_words(layout: str) -> str:
    """How a sheet lies."""
    return str(dict(LAYOUTS)[layout])


@register.filter
def order_in_words(order: str) -> str:
    """In which order day, month and year stand."""
    return str(dict(DAYS)[order])


@register.filter
def in_words(paths: Iterable[str]) -> str:
    """Labels of the fields of a visit."""
    return ", ".join(label_of(path) for path in paths)


@register.filter
def as_day(text: str) -> date | str:
    """A day as it is kept; what is none stays as it is."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return text
