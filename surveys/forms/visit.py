"""The fields of the visit form that stand outside the table of counts.

The form only shows: what was typed, and what the submission's parser said about it. It judges nothing
itself, so that page, API and spreadsheet have one set of rules.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cache, lru_cache
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.forms.utils import ErrorDict
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from surveys.forms.posted import PLAIN_FIELDS, SPOT_PARTS, TIMED
from surveys.measuring.quantities import QUANTITIES, Quantity
from surveys.models import Site
from surveys.models.samples import FlowType
from surveys.models.visits import Clarity, NotMade, PositionSource, WaterLevel, Weather
from surveys.submission.timing import log_text

Choices = Sequence[tuple[str, str | Promise]]
NOT_SAID = ("", _("not noted"))


def _select(label: Any, choices: Choices, help_text: Any = "", required: bool = False) -> forms.ChoiceField:
    return forms.ChoiceField(label=label, choices=choices, help_text=help_text, required=required)


def _text(label: Any, widget: forms.Widget, help_text: Any = "", required: bool = False) -> forms.CharField:
    return forms.CharField(label=label, widget=widget, help_text=help_text, required=required)


def _number(label: Any, help_text: Any = "", whole: bool = False, unit: str = "") -> forms.CharField:
    attrs = {"inputmode": "numeric" if whole else "decimal", "autocomplete": "off", "size": "6"}
    if unit:
        attrs["data-unit"] = unit
    return _text(label, forms.TextInput(attrs=attrs), help_text)


class VisitForm(forms.Form):
    """One visit as typed, with its mistakes at their fields. Never bound: see the module's first lines."""

    use_required_attribute = False

    was_made = forms.ChoiceField(
        label=_("Was the sample taken?"),
        choices=[("yes", _("Yes, we sampled")), ("no", _("No, the visit could not be made"))],
        widget=forms.RadioSelect(attrs={"class": "choices--row"}),
    )
    not_made_reason = _select(
        _("Why it could not be made"),
        [("", _("choose a reason")), *NotMade.choices],
        _("A cancelled visit is a record too: a gap must not look like a clean river."),
    )
    visited_on = _text(
        _("Date of the visit"), forms.DateInput(attrs={"type": "date", "autocomplete": "off"}), required=True
    )
    started_at = _text(_("Start"), forms.TimeInput(attrs={"type": "time"}))
    ended_at = _text(_("End"), forms.TimeInput(attrs={"type": "time"}))
    recorder = _select(_("Recorder"), (), _("Who led the sampling and vouches for the counts."), True)
    partner = _select(_("Partner"), (), _("The second adult. Never go into the water alone."))
    partner_name = _text(
        _("Or the partner's name"),
        forms.TextInput(attrs={"autocomplete": "off"}),
        _("If they are not a member of this group."),
    )
    kit = _select(_("Kit used"), (), _("So that the next group knows where it was last."))
    position = _text(
        _("Where the sample was taken"),
        forms.TextInput(attrs={"autocomplete": "off", "maxlength": "80"}),
        _(
            "Only if you like: degrees or a grid reference. Seen by coordinators and those of the visit; "
            "others are told the place of the site."
        ),
    )
    position_accuracy_m = _number(_("Exact to, m"), _("Empty if you do not know."), whole=True)
    position_source = _select(_("How it is known"), [("", _("not noted")), *PositionSource.choices])
    checklist_done = forms.BooleanField(label=_("We went through the checklist"), required=False)
    # Out of sight, yet no "hidden" input: what was typed is put back into every other kind alone.
    checklist_at = _text(
        _("When the checklist was gone through"),
        forms.TextInput(attrs={"hidden": True, "autocomplete": "off", "tabindex": "-1"}),
    )
    water_level = _select(_("Water level"), [NOT_SAID, *WaterLevel.choices])
    clarity = _select(_("Clarity of the water"), [NOT_SAID, *Clarity.choices])
    weather = _select(_("Weather now"), [NOT_SAID, *Weather.choices])
    weather_past_week = _select(_("Weather of the past week"), [NOT_SAID, *Weather.choices])
    fraction_sorted = _text(
        _("Fraction sorted"),
        forms.TextInput(attrs={"autocomplete": "off", "size": "6"}),
        _("Only if you did not sort the whole tray: such as 1/4, or 6/30 for 6 of 30 squares."),
    )
    pollution_signs = _text(
        _("Signs of pollution"),
        forms.Textarea(attrs={"rows": "2"}),
        _("Smell, colour, foam, film, grey growth, dead fish: what you saw and where. Leave empty if none."),
    )
    notes = _text(_("Notes"), forms.Textarea(attrs={"rows": "3"}))
    # Set only in records from before the portal, whose recorder has no account.
    recorder_name = _text(_("Recorder's name"), forms.HiddenInput())

    def __init__(
        self,
        *,
        site: Site,
        people: Choices,
        kits: Choices = (),
        data: Mapping[str, Any],
        errors: Mapping[str, Sequence[str]],
        findings: Mapping[str, Sequence[str]] | None = None,
    ) -> None:
        super().__init__(initial=_initial(data))
        self.findings = findings or {}
        self.spot_numbers = list(range(1, spots_shown(site, data) + 1))
        self.fields["recorder"].choices = [("", _("choose a person")), *people]  # type: ignore[attr-defined]
        self.fields["partner"].choices = [("", _("nobody, or not a member")), *people]  # type: ignore[attr-defined]
        self.fields["kit"].choices = [("", _("not noted")), *kits]  # type: ignore[attr-defined]
        self.has_kits = bool(kits)
        # Of one group; all other fields are the same on every form, and drawn once (`portal.form_controls`).
        self.own_fields = frozenset(("recorder", "partner", "kit"))
        self.fields.update(_spot_fields(tuple(self.spot_numbers)))
        self.fields.update(_measurement_fields())
        self._errors = ErrorDict(
            {name: self._error_list(name, texts) for name, texts in errors.items() if name in self.fields}
        )

    def _error_list(self, name: str, texts: Sequence[str]) -> Any:
        return self.error_class(texts, renderer=self.renderer, field_id=self[name].auto_id)

    def spots(self) -> Iterator[tuple[int, list[BoundField], BoundField]]:
        """Each spot's number with its fields, and the field of its timed kicks that nobody sees."""
        for number in self.spot_numbers:
            seen = [self[f"spots-{number}-{part}"] for part in SPOT_PARTS]
            yield number, seen, self[f"spots-{number}-{TIMED}"]

    def measurements(self) -> Iterator[tuple[BoundField, BoundField | None]]:
        """Each quantity's value, and its choice of unit where there is one."""
        for key in QUANTITIES:
            unit = f"measurements-{key}-unit"
            yield self[f"measurements-{key}-value"], self[unit] if unit in self.fields else None


def spots_shown(site: Site, data: Mapping[str, Any]) -> int:
    """How many spots the page offers: those planned, those typed, and one to spare."""
    typed = (_whole(spot.get("number")) for spot in data.get("spots", ()))
    return max([site.spots, *typed]) + 1


def _whole(value: Any) -> int:
    return int(value) if str(value).isdecimal() else 0


# Forms share these fields, which nothing changes; their words are put off until the language is known.
@lru_cache(maxsize=50)
def _spot_fields(numbers: tuple[int, ...]) -> dict[str, forms.Field]:
    fields: dict[str, forms.Field] = {}
    for number in numbers:
        fields[f"spots-{number}-flow_type"] = _select(_("Flow type"), [NOT_SAID, *FlowType.choices])
        fields[f"spots-{number}-kicks"] = _number(_("Kicks"), whole=True)
        fields[f"spots-{number}-seconds"] = _number(_("Time, s"))
        fields[f"spots-{number}-depth_cm"] = _number(_("Depth, cm"))
        # Out of sight, yet no "hidden" input: what was typed is put back into every other kind alone.
        unseen = {"hidden": True, "autocomplete": "off", "tabindex": "-1"}
        fields[f"spots-{number}-{TIMED}"] = _text(_("Timed kicks"), forms.TextInput(attrs=unseen))
    return fields


@cache
def _measurement_fields() -> dict[str, forms.Field]:
    fields: dict[str, forms.Field] = {}
    for key, quantity in QUANTITIES.items():
        name = f"measurements-{key}"
        if len(quantity.units) == 1:
            fields[f"{name}-value"] = _number(quantity.label, quantity.help, unit=quantity.unit)
        else:
            fields |= _with_choice_of_unit(name, quantity)
    return fields


def _with_choice_of_unit(name: str, quantity: Quantity) -> dict[str, forms.Field]:
    """A value and its unit side by side; the help stands under both, as it speaks of both."""
    value = _number(quantity.label)
    value.widget.attrs["aria-describedby"] = f"id_{name}-unit_about"
    unit = _select(_("Unit"), [(each, each) for each in quantity.units])
    unit.about = quantity.help  # type: ignore[attr-defined]
    return {f"{name}-value": value, f"{name}-unit": unit}


def _initial(data: Mapping[str, Any]) -> dict[str, Any]:
    """The nested data under the page's flat names."""
    initial: dict[str, Any] = {name: data.get(name, "") for name in PLAIN_FIELDS}
    initial["checklist_done"] = bool(data.get("checklist_done"))
    initial["was_made"] = "yes" if data.get("was_made", True) else "no"
    for spot in data.get("spots", ()):
        initial |= {f"spots-{spot.get('number')}-{part}": spot.get(part, "") for part in SPOT_PARTS}
        initial[f"spots-{spot.get('number')}-{TIMED}"] = log_text(spot.get(TIMED, ""))
    for key, reading in data.get("measurements", {}).items():
        initial |= {f"measurements-{key}-{part}": text for part, text in reading.items()}
    return initial
