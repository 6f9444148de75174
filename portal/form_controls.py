"""Draws the controls of forms: what Django's own templates draw, spaces aside, in a fraction of the time.

A form of fifty controls and three hundred choices would include a template for each of them and one more for
its attributes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from typing import Any, cast

from django.forms.renderers import TemplatesSetting
from django.http import HttpRequest
from django.utils.html import conditional_escape
from django.utils.safestring import SafeString, mark_safe

Widget = Mapping[str, Any]


class QuickControls(TemplatesSetting):
    """Django's renderer of forms, but for the plainest controls."""

    def render(
        self, template_name: str, context: Mapping[str, Any], request: HttpRequest | None = None
    ) -> SafeString:
        draw = DRAWN.get(template_name)
        if draw is None:
            return cast(SafeString, super().render(template_name, dict(context), request))
        # Every value in it has been escaped where it was put in.
        return mark_safe(draw(context["widget"]))  # noqa: S308


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


_FOLDER = "django/forms/widgets/"
_INPUTS = ("input", "text", "number", "email", "hidden", "password", "date", "time", "checkbox", "url")
DRAWN: Mapping[str, Callable[[Widget], str]] = MappingProxyType(
    {
        **{f"{_FOLDER}{name}.html": _input for name in _INPUTS},
        f"{_FOLDER}textarea.html": _textarea,
        f"{_FOLDER}select.html": _select,
    }
)
