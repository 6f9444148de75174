"""Draws the controls of forms and the fields around them: what templates draw, spaces aside, in no time.

A form of fifty controls and three hundred choices would include a template for each of them and one more for
its attributes. `django/forms/field.html` stands for whoever draws a field in another way, and is what the one
drawn here is held to.

What it saves: more than half of the processor time of the form of a visit (November 2026; the keeping of fields
and the drawing of controls a quarter each); nothing to speak of elsewhere. What an upgrade of Django may change
are the names and markup of the widgets' templates: `tests/portal/test_form_controls.py` holds each control to
them. `FORM_RENDERER = "django.forms.renderers.TemplatesSetting"` draws all by templates.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Hashable, Iterable, Mapping
from types import MappingProxyType
from typing import Any, cast

from django.forms import ChoiceField
from django.forms.boundfield import BoundField
from django.forms.renderers import TemplatesSetting
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.html import conditional_escape, escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from portal.templatetags.quick_parts import KeptParts
from portal.templatetags.ui import FieldParts, field_parts

Widget = Mapping[str, Any]
kept = KeptParts(2_000)


class QuickControls(TemplatesSetting):
    """Django's renderer of forms, but for the plainest controls."""

    def render(
        self, template_name: str, context: Mapping[str, Any], request: HttpRequest | None = None
    ) -> SafeString:
        draw = DRAWN.get(template_name)
        # Every value in them has been escaped where it was put in.
        if draw is not None:
            return mark_safe(draw(context["widget"]))  # noqa: S308
        if template_name == self.field_template_name:
            return _kept_field(context["field"])
        return cast(SafeString, super().render(template_name, dict(context), request))


def _name(widget: Widget) -> str:
    return f' name="{conditional_escape(widget["name"])}"'


def _attributes(widget: Widget) -> str:
    return "".join(
        f" {name}" if value is True else f' {name}="{conditional_escape(str(value))}"'
        for name, value in widget["attrs"].items()
        if value is not False
    )


def _input(widget: Widget) -> str:
    value = widget["value"]
    given = "" if value is None else f' value="{conditional_escape(str(value))}"'
    return f'<input type="{widget["type"]}"{_name(widget)}{given}{_attributes(widget)}>'


def _textarea(widget: Widget) -> str:
    words = conditional_escape(widget["value"]) if widget["value"] else ""
    return f"<textarea{_name(widget)}{_attributes(widget)}>\n{words}</textarea>"


def _select(widget: Widget) -> str:
    groups = "".join(_choices(name, options) for name, options, _place in widget["optgroups"])
    return f"<select{_name(widget)}{_attributes(widget)}>{groups}</select>"


def _choices(group: str | None, options: Iterable[Widget]) -> str:
    drawn = "".join(_option(each) for each in options)
    return f'<optgroup label="{conditional_escape(group)}">{drawn}</optgroup>' if group else drawn


def _option(option: Widget) -> str:
    value = conditional_escape(str(option["value"]))
    return f'<option value="{value}"{_attributes(option)}>{conditional_escape(option["label"])}</option>'


def _kept_field(field: BoundField) -> SafeString:
    """The field, drawn once where it is alike on all forms of its kind; what somebody typed is never kept."""
    key = _key(field)
    drawn = None if key is None else kept.get(key)
    if drawn is None:
        drawn = mark_safe(_field(field))  # noqa: S308
        if key is not None:
            kept.keep(key, drawn)
    return drawn


def _key(field: BoundField) -> Hashable:
    """All that the field is made from, where its form says which of its fields are its own; else None."""
    form: Any = field.form
    value = field.value()
    own: Container[str] | None = getattr(form, "own_fields", None)
    is_typed = value not in (None, "", True, False) and not isinstance(field.field, ChoiceField)
    is_remarked = bool(field.errors or getattr(form, "findings", None))
    if own is None or field.name in own or is_typed or form.is_bound or is_remarked:
        return None
    return type(form), field.html_name, field.auto_id, str(value), get_language()


def _field(field: BoundField) -> str:
    parts = field_parts(field)
    wrong = " field--wrong" if field.errors else ""
    classes = conditional_escape(" ".join(["", *filter(None, [field.css_classes()])]))
    wrongs = str(field.errors) if field.errors else ""
    # What explains a tick stands behind the words that it explains.
    if field.widget_type == "checkbox":
        inner = wrongs + _entry(field, parts) + _helped(field)
    else:
        inner = _named(field) + _helped(field) + wrongs + _entry(field, parts)
    if parts.findings:
        context = {"findings": parts.findings, "id": field.auto_id}
        inner += render_to_string("components/findings.html", context)
    if field.use_fieldset:
        told = f' aria-describedby="{conditional_escape(parts.described_by)}"' if parts.described_by else ""
        inner = f"<fieldset{told}>{inner}</fieldset>"
    return f'<div class="field field--{field.widget_type}{wrong}{classes}">{inner}</div>'


def _named(field: BoundField) -> str:
    """The label, but for a tick, which stands before its own."""
    name = f"{conditional_escape(field.label)}{_mark(field)}"
    if field.use_fieldset:
        return f"<legend>{name}</legend>"
    if field.widget_type == "checkbox" or not field.label:
        return ""
    return f'<label class="field-label" for="{conditional_escape(field.id_for_label)}">{name}</label>'


def _mark(field: BoundField) -> str:
    return f'<span class="required-mark">{escape(_("required"))}</span>' if field.field.required else ""


def _helped(field: BoundField) -> str:
    # Help is written by us, and may hold a link.
    if not field.help_text:
        return ""
    place = f' id="{conditional_escape(field.auto_id)}_helptext"' if field.auto_id else ""
    return f'<div class="field-help"{place}>{field.help_text}</div>'


def _entry(field: BoundField, parts: FieldParts) -> str:
    if field.widget_type == "checkbox":
        words = f"<span>{conditional_escape(field.label)}{_mark(field)}</span>"
        target = conditional_escape(field.id_for_label)
        return f'<label class="choice" for="{target}">{parts.control}{words}</label>'
    if not parts.unit:
        return parts.control
    place = f"{conditional_escape(field.auto_id)}_unit"
    unit = f'<span class="field-unit" id="{place}">{conditional_escape(parts.unit)}</span>'
    return f'<div class="field-entry">{parts.control}{unit}</div>'


_FOLDER = "django/forms/widgets/"
_INPUTS = ("input", "text", "number", "email", "hidden", "password", "date", "time", "checkbox", "url")
DRAWN: Mapping[str, Callable[[Widget], str]] = MappingProxyType(
    {
        **{f"{_FOLDER}{name}.html": _input for name in _INPUTS},
        f"{_FOLDER}textarea.html": _textarea,
        f"{_FOLDER}select.html": _select,
    }
)
