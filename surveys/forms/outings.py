"""Forms of what surrounds a visit: the rules of going out, kits and their cleaning, the river's level."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from surveys.models import Kit, KitCleaning, OutingRules, Site
from surveys.models.outings import CleaningMethod
from surveys.outings.rules import lines_of
from surveys.services.outings import require_ascending
from surveys.submission.numbers import decimal_of

LONGEST_LIST, LONGEST_LINE = 40, 160
MOMENT = "%Y-%m-%dT%H:%M"


def moment_field(label: Any, help_text: Any = "", required: bool = True) -> forms.DateTimeField:
    """A day and a time of day, in the portal's time zone."""
    return forms.DateTimeField(
        label=label,
        help_text=help_text,
        required=required,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format=MOMENT),
        error_messages={"invalid": _("Give a day and a time, such as 2026-05-03 14:30.")},
    )


class OutingRulesForm(forms.ModelForm[OutingRules]):
    """The checklist, one line an item, and the times of a safe return."""

    class Meta:
        model = OutingRules
        fields = [
            "before",
            "at_water",
            "after",
            "drying_days",
            "again_minutes",
            "coordinators_minutes",
            "named_minutes",
            "emergency_words",
        ]
        widgets = {
            **{name: forms.Textarea(attrs={"rows": "8"}) for name in ("before", "at_water", "after")},
            "emergency_words": forms.Textarea(attrs={"rows": "3"}),
        }
        help_texts = {
            "drying_days": _(
                "Only for kit that was cleaned and dried; hot water and disinfectant count at once."
            ),
            "again_minutes": _("The first reminder goes out when the time is up."),
            "emergency_words": _(
                "By your local rules: numbers, and what to say. Stands in every e-mail about somebody overdue."
            ),
        }

    def _clean_lines(self, name: str) -> str:
        lines = lines_of(self.cleaned_data[name])
        if len(lines) > LONGEST_LIST:
            raise ValidationError(_("At most 40 lines: a longer list is not gone through."))
        if any(len(line) > LONGEST_LINE for line in lines):
            raise ValidationError(_("At most 160 letters a line."))
        return "\n".join(lines)

    def clean_before(self) -> str:
        return self._clean_lines("before")

    def clean_at_water(self) -> str:
        return self._clean_lines("at_water")

    def clean_after(self) -> str:
        return self._clean_lines("after")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        names = ("again_minutes", "coordinators_minutes", "named_minutes")
        if all(cleaned.get(name) is not None for name in names):
            require_ascending(*(cleaned[name] for name in names))
        return cleaned

    def validate_constraints(self) -> None:
        """Left to `clean`, which says at the field which step comes too early."""


class KitForm(forms.ModelForm[Kit]):
    """A kit's name and what it holds."""

    is_retired = forms.BooleanField(label=_("No longer in use"), required=False)

    class Meta:
        model = Kit
        fields = ["name", "holds"]
        widgets = {"holds": forms.Textarea(attrs={"rows": "3"})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["is_retired"] = self.instance.retired_at is not None

    def validate_constraints(self) -> None:
        """Left to the service, which knows the group."""


class CleaningForm(forms.ModelForm[KitCleaning]):
    """How and when a kit was cleaned."""

    method = forms.ChoiceField(label=_("How"), choices=CleaningMethod.choices, widget=forms.RadioSelect)

    class Meta:
        model = KitCleaning
        fields = ["method", "cleaned_on", "note"]
        widgets = {"cleaned_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")}
        help_texts = {"cleaned_on": _("Drying begins on this day.")}


class RiverForm(forms.Form):
    """A reading of the gauge, or that the river is too high, and how long that holds."""

    level_m = forms.CharField(
        label=_("Reading of the gauge, m"),
        required=False,
        max_length=20,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off", "size": "6"}),
    )
    too_high = forms.BooleanField(label=_("The river is too high here"), required=False)
    holds_until = moment_field(_("Holds until"), _("Left empty: for 24 hours."), required=False)

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not site.gauge_name and site.level_limit_m is None:
            del self.fields["level_m"]
        elif site.gauge_name:
            self.fields["level_m"].help_text = site.gauge_name

    def clean_level_m(self) -> Decimal | None:
        typed = self.cleaned_data["level_m"]
        if not typed:
            return None
        try:
            return decimal_of(typed).quantize(Decimal("0.001"))
        except ValueError as wrong:
            raise ValidationError(str(wrong)) from wrong

    def facts(self) -> dict[str, Any]:
        """What `report_river` takes."""
        end: datetime | None = self.cleaned_data["holds_until"]
        return {
            "level_m": self.cleaned_data.get("level_m"),
            "too_high": self.cleaned_data["too_high"],
            "holds_until": end,
        }
