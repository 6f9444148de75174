"""What the pages of the identification key ask for: a drawing in its place, and names as one attribute."""

from __future__ import annotations

from collections.abc import Iterable

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from surveys.identification import Drawing

register = template.Library()
FRAME = "0 0 160 100"


@register.simple_tag
def key_symbol(drawing: Drawing) -> SafeString:
    """The drawing itself with the words that say what it shows; the page shows it by reference."""
    # Read from our own files, whose form `read_drawing` holds to paths alone.
    inside = mark_safe(drawing.inside)  # noqa: S308
    return format_html(
        '<symbol id="key-drawing-{0}" viewBox="{1}"><title id="key-shows-{0}">{2}</title>{3}</symbol>',
        drawing.name,
        FRAME,
        _(drawing.title),
        inside,
    )


@register.simple_tag
def key_drawing(name: str) -> SafeString:
    """A place where the page shows a drawing."""
    return format_html(
        '<svg class="key-drawing" role="img" aria-labelledby="key-shows-{0}" viewBox="{1}">'
        '<use href="#key-drawing-{0}"/></svg>',
        name,
        FRAME,
    )


@register.filter
def one_attribute(names: Iterable[str]) -> str:
    """Names of taxa as the value of one attribute; no name has a bar in it."""
    return "|".join(names)
