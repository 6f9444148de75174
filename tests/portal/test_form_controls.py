"""Controls of forms are those that Django's own templates draw."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django import forms
from django.forms.renderers import TemplatesSetting
from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext_lazy as _
from django.utils.translation import override

from portal.form_controls import DRAWN, QuickControls

CHOICES = [("", "—"), ("a", 'A "quoted" <one>'), ("Group & more", [("b", _("Sites")), (3, 3)])]
NASTY = "\"><script>alert('x')</script>"


class Every(forms.Form):
    text = forms.CharField(initial=NASTY, help_text="x", max_length=9)
    number = forms.IntegerField(initial=1200, min_value=1)
    email = forms.EmailField(required=False)
    password = forms.CharField(widget=forms.PasswordInput)
    hidden = forms.CharField(widget=forms.HiddenInput, initial=0)
    day = forms.DateField(widget=forms.DateInput(attrs={"type": "date"}), initial="2026-01-02")
    hour = forms.TimeField(widget=forms.TimeInput(attrs={"data-x": NASTY, "disabled": True, "hidden": False}))
    tick = forms.BooleanField(initial=True, required=False)
    address = forms.URLField(assume_scheme="https", initial="https://a.example/?b=1&c=2")
    words = forms.CharField(widget=forms.Textarea(attrs={"rows": 3}), initial=f"\n{NASTY}\nend")
    choice = forms.ChoiceField(choices=CHOICES, initial="b")
    marked = forms.CharField(widget=forms.TextInput(attrs={"title": mark_safe("a&amp;b")}))


def drawn_by(renderer: type[TemplatesSetting], name: str) -> str:
    control = str(Every(renderer=renderer(), prefix='p"1')[name])
    # Spaces between tags say nothing; those inside a text area do.
    return re.sub(r">\s+<", "><", control).strip().replace("\n</select>", "</select>")


@pytest.mark.parametrize("name", Every.base_fields)
def test_a_control_is_what_djangos_template_draws(name: str) -> None:
    assert Every.base_fields[name].widget.template_name in DRAWN
    assert drawn_by(QuickControls, name) == drawn_by(TemplatesSetting, name)


def test_what_is_typed_never_becomes_markup() -> None:
    assert "<script>" not in "".join(drawn_by(QuickControls, name) for name in Every.base_fields)


def test_other_controls_are_drawn_by_their_templates() -> None:
    field = forms.ChoiceField(choices=CHOICES, widget=forms.RadioSelect)
    form = type("Other", (forms.Form,), {"pick": field})(renderer=QuickControls())
    assert str(form["pick"]).count('type="radio"') == 4


class Fields(forms.Form):
    required_css_class = "must"
    text = forms.CharField(label="<Name>", help_text='See <a href="/x">here</a>.', initial=NASTY)
    unit = forms.DecimalField(
        label=_("Sites"), required=False, widget=forms.TextInput(attrs={"data-unit": "<m>"})
    )
    tick = forms.BooleanField(label="Two & two", help_text="x")
    choice = forms.ChoiceField(choices=CHOICES, label="")
    radio = forms.ChoiceField(choices=CHOICES, widget=forms.RadioSelect, help_text="y")
    described = forms.CharField(widget=forms.Textarea(attrs={"aria-describedby": "there"}))

    findings = {"text": ["Odd <here>."], "radio": ["Rare."]}


@pytest.mark.parametrize("language", ["en-gb", "de"])
@pytest.mark.parametrize("auto_id", ["id_%s", False])
@pytest.mark.parametrize("data", [None, {"unit": NASTY}])
@pytest.mark.parametrize("name", Fields.base_fields)
def test_a_field_is_what_its_template_draws(name: str, data: object, auto_id: object, language: str) -> None:
    given: Any = {"data": data, "auto_id": auto_id, "prefix": 'p"1'}
    with override(language):
        drawn, by_template = (
            "".join(str(Fields(renderer=renderer(), **given)[name].as_field_group()).split())
            for renderer in (QuickControls, OneByTemplate)
        )
    assert drawn == by_template


class OneByTemplate(QuickControls):
    """Its fields are drawn by their template."""

    def render(self, template_name: str, context: Any, request: HttpRequest | None = None) -> SafeString:
        return (
            render_to_string(template_name, context)
            if "field" in context
            else super().render(template_name, context)
        )
