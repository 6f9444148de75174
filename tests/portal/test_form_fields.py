"""Every Django form in our hand: label, help, mistake, finding and unit tied to the control."""

from __future__ import annotations

import re

import pytest
from django import forms


class Reading(forms.Form):
    temperature = forms.DecimalField(label="Water temperature", help_text="Hold it under.", max_value=40)
    conductivity = forms.DecimalField(label="Conductivity", required=False)
    clarity = forms.ChoiceField(
        label="Clarity", choices=[("a", "Clear"), ("b", "Cloudy")], widget=forms.RadioSelect
    )
    weather = forms.MultipleChoiceField(
        label="Weather", choices=[("d", "Dry")], widget=forms.CheckboxSelectMultiple, required=False
    )
    two_adults = forms.BooleanField(label="Two adults were there")
    named = forms.BooleanField(
        label="My name may be printed", help_text="Change it at any time.", required=False
    )
    token = forms.CharField(widget=forms.HiddenInput, required=False)

    findings = {"temperature": ["Warmer than usual <here>."]}

    def __init__(self, data: dict[str, str] | None = None) -> None:
        super().__init__(data)
        self.fields["temperature"].unit = "°C"  # type: ignore[attr-defined]
        self.fields["conductivity"].widget.attrs["data-unit"] = "µS/cm"


BAD = {"temperature": "99", "clarity": "", "two_adults": ""}


def field(name: str, data: dict[str, str] | None = None) -> str:
    return str(Reading(data)[name].as_field_group())


def described_by(html: str) -> list[str]:
    found = re.search(r'aria-describedby="([^"]*)"', html)
    return found.group(1).split() if found else []


def test_it_ties_unit_help_mistake_and_finding_to_the_control() -> None:
    html = field("temperature", BAD)
    ids = ["id_temperature_unit", "id_temperature_helptext", "id_temperature_error", "id_temperature_findings"]
    assert described_by(html) == ids
    assert all(f'id="{i}"' in html for i in ids)
    assert 'aria-invalid="true"' in html


def test_it_names_only_descriptions_that_are_there() -> None:
    assert described_by(field("conductivity")) == ["id_conductivity_unit"]
    assert described_by(field("two_adults")) == []


@pytest.mark.parametrize(("name", "unit"), [("temperature", "°C"), ("conductivity", "µS/cm")])
def test_it_shows_the_unit_after_the_control(name: str, unit: str) -> None:
    html = field(name)
    assert html.index("<input") < html.index(f">{unit}</span>")


def test_it_keeps_what_was_entered() -> None:
    assert 'value="99"' in field("temperature", BAD)


def test_it_says_mistake_in_a_word_and_escapes_findings() -> None:
    html = field("temperature", BAD)
    assert "Mistake:" in html
    assert "less than or equal to 40" in html
    assert "Warmer than usual &lt;here&gt;." in html


def test_it_marks_what_is_required_in_a_word() -> None:
    assert '<span class="required-mark">required</span>' in field("temperature")
    assert "required-mark" not in field("conductivity")


def test_it_groups_choices_under_a_legend_that_carries_the_mistake() -> None:
    html = field("clarity", BAD)
    assert "<fieldset" in html
    assert re.search(r"<legend>\s*Clarity", html)
    assert described_by(html) == ["id_clarity_error"]
    assert html.count('class="choice"') == 2
    assert '<label class="choice" for="id_clarity_0"><input type="radio"' in html


def test_it_makes_each_of_several_choices_a_large_label() -> None:
    assert 'type="checkbox"' in field("weather")
    assert 'class="choice"' in field("weather")


def test_it_puts_the_words_of_a_tick_beside_it_and_not_twice() -> None:
    html = field("two_adults")
    assert html.count("Two adults were there") == 1
    assert html.index("<input") < html.index("Two adults were there")


def test_it_explains_a_tick_after_its_words() -> None:
    html = field("named")
    assert html.index("My name may be printed") < html.index("Change it at any time.")
    assert described_by(html) == ["id_named_helptext"]


def test_it_keeps_a_description_the_form_gave_itself() -> None:
    form = Reading()
    form.fields["conductivity"].widget.attrs["aria-describedby"] = "elsewhere"
    assert described_by(str(form["conductivity"].as_field_group())) == ["elsewhere", "id_conductivity_unit"]


def test_it_draws_a_whole_form_with_each_label_once_and_the_hidden_field_bare() -> None:
    html = str(Reading(BAD))
    assert html.count('class="field field--') == 6
    assert html.count('name="token"') == 1
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'for="([^"]+)"', html)) <= set(ids)
