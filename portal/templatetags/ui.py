"""Template tags of the design language: the parts that need more than an ``{% include %}``.

Every part is a partial in ``templates/components/``; these tags only gather what the partial shows.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from django import forms, template
from django.conf import settings
from django.contrib.messages.storage.base import Message
from django.forms.formsets import BaseFormSet
from django.template.loader import render_to_string
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext_lazy as _

from portal.templatetags.icons import drawing

register = template.Library()

# The word that goes with each kind of notice, so that its colour is never the only sign.
NOTICE_WORDS: Final = {"info": _("Note"), "ok": _("Done"), "caution": _("Caution"), "danger": _("Danger")}
MESSAGE_KINDS: Final = {"success": "ok", "warning": "caution", "error": "danger"}
MESSAGE_WORDS: Final = {**NOTICE_WORDS, "danger": _("Not done")}


@register.simple_tag
def icon(name: str, label: str = "") -> SafeString:
    """An icon by name; with a label it is an image of that name, without one it is decoration."""
    return _drawn_icon(name, str(label))


@lru_cache(maxsize=500, typed=True)
def _drawn_icon(name: str, label: str) -> SafeString:
    naming = format_html('role="img" aria-label="{}"', label) if label else SafeString('aria-hidden="true"')
    return format_html(
        '<svg class="icon" viewBox="0 0 24 24" width="22" height="22" fill="none" stroke="currentColor"'
        ' stroke-width="2" stroke-linecap="round" stroke-linejoin="round" focusable="false" {}>'
        '<path d="{}"/></svg>',
        naming,
        drawing(name),
    )


@register.simple_block_tag
def notice(content: str, kind: str = "info", title: str = "") -> str:
    """``{% notice "caution" %} … {% endnotice %}``: info, ok, caution or danger; title replaces its word."""
    context = {"kind": kind, "word": title or NOTICE_WORDS[kind], "content": content}
    return render_to_string("components/notice.html", context)


@register.simple_block_tag
def card(content: str, heading: str = "", level: int = 2, href: str = "") -> str:
    """``{% card heading="…" %} … {% endcard %}``: a sheet; ``href`` makes the heading a link."""
    context = {"heading": heading, "level": level, "href": href, "content": content}
    return render_to_string("components/card.html", context)


@register.simple_block_tag
def field_set(content: str, legend: str, help: str = "", id: str = "") -> str:
    """``{% field_set legend="…" %} … {% endfield_set %}``: fields that belong together."""
    context = {"legend": legend, "help": help, "id": id, "content": content}
    return render_to_string("components/fieldset.html", context)


@register.simple_block_tag
def table_region(content: str, caption: str) -> str:
    """``{% table_region caption="…" %}<table class="table">…``: scrolls sideways, by keyboard too."""
    return render_to_string("components/table_region.html", {"caption": caption, "content": content})


@register.inclusion_tag("components/chart.html")
def chart(wide: str, narrow: str = "", caption: str = "") -> dict[str, Any]:
    """A drawing of ``portal.charts``; ``narrow`` is the same chart drawn 320 to 360 pixels wide for phones."""
    return {"wide": wide, "narrow": narrow, "caption": caption}


@register.filter
def message_kind(message: Message) -> str:
    """The kind of notice for one of Django's messages."""
    return MESSAGE_KINDS.get(message.level_tag, "info")


@register.filter
def message_word(message: Message) -> str:
    """The word in front of one of Django's messages; a failed action is "not done", never "danger"."""
    return str(MESSAGE_WORDS[message_kind(message)])


@dataclass(frozen=True)
class FieldParts:
    """What ``django/forms/field.html`` needs beyond the bound field itself."""

    control: str
    described_by: str
    unit: str
    findings: list[str]


@register.simple_tag
def languages_by_own_name() -> list[tuple[str, str]]:
    """Code and name of each language; Django's tag would tell a German reader of "Englisch"."""
    return list(settings.LANGUAGES)


@register.simple_tag
def field_parts(field: forms.BoundField) -> FieldParts:
    """The control with every text that describes it tied to it: help, error, findings and unit.

    The unit is ``field.unit`` of the form field or the widget attribute ``data-unit``; findings are
    ``form.findings[name]``, a list of sentences.
    """
    unit = str(getattr(field.field, "unit", "") or field.field.widget.attrs.get("data-unit", ""))
    by_name: Mapping[str, Iterable[str]] = getattr(field.form, "findings", {})
    findings = list(by_name.get(field.name, ()))
    ids = _describing_ids(field, unit, findings)
    attrs: dict[str, str | bool] = {"aria-describedby": ids} if ids and not field.use_fieldset else {}
    return FieldParts(field.as_widget(attrs=attrs), ids, unit, findings)


def _describing_ids(field: forms.BoundField, unit: str, findings: list[str]) -> str:
    """In the order in which they should be read out."""
    own = str(field.field.widget.attrs.get("aria-describedby", ""))
    parts = [("unit", unit), ("helptext", field.help_text), ("error", field.errors), ("findings", findings)]
    if not field.auto_id:
        return own
    return " ".join([own, *(f"{field.auto_id}_{name}" for name, present in parts if present)]).strip()


@dataclass(frozen=True)
class Mistake:
    """One line of an error summary: where it is (empty for the form as a whole) and what is wrong."""

    target: str
    label: str
    message: str


@register.inclusion_tag("components/error_summary.html")
def error_summary(*sources: forms.BaseForm | BaseFormSet[Any]) -> dict[str, Any]:
    """All mistakes of the forms and formsets given, each with a link to its field."""
    return {"mistakes": [m for source in sources for m in _mistakes(source)]}


def _mistakes(source: forms.BaseForm | BaseFormSet[Any]) -> Iterator[Mistake]:
    if isinstance(source, BaseFormSet):
        yield from (Mistake("", "", str(e)) for e in source.non_form_errors())
        for form in source.forms:
            yield from _mistakes(form)
    elif source.is_bound:
        yield from (Mistake("", "", str(e)) for e in source.non_field_errors())
        yield from _field_mistakes(source)


def _field_mistakes(form: forms.BaseForm) -> Iterator[Mistake]:
    for field in form:
        # A group of choices has no single control to point at: its first one takes the focus.
        target = field.id_for_label or (f"{field.auto_id}_0" if field.auto_id else "")
        yield from (Mistake(target, str(field.label), str(error)) for error in field.errors)
