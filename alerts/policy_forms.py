"""Forms about when contacts are at work and how a group wants its alerts followed up."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import time
from typing import Any

from django import forms
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from alerts.models import AlertPolicy, ContactAbsence, Holiday, QuietPeriod

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
MOMENT = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
CLOCK = {"type": "time"}
Hours = dict[int, tuple[time, time]]


class HoursForm(forms.Form):
    """When a contact is at work, a line for each weekday; a day without times is a day off."""

    def __init__(self, *args: Any, hours: Mapping[int, tuple[time, time]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for weekday in WEEKDAYS:
            for place, (end, label) in enumerate((("opens", _("from")), ("closes", _("until")))):
                words = _now("%(day)s, %(end)s") % {"day": WEEKDAYS[weekday], "end": label}
                initial = hours[weekday][place] if weekday in hours else None
                clock = forms.TimeInput(attrs=CLOCK, format="%H:%M")
                field = forms.TimeField(label=words, required=False, initial=initial, widget=clock)
                self.fields[f"{end}-{weekday}"] = field

    @property
    def days(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """The two fields of each weekday, Monday first."""
        return [(self[f"opens-{weekday}"], self[f"closes-{weekday}"]) for weekday in WEEKDAYS]

    def clean(self) -> dict[str, Any]:
        """Both times or none, and in this order."""
        values = super().clean() or {}
        for weekday in WEEKDAYS:
            opens, closes = values.get(f"opens-{weekday}"), values.get(f"closes-{weekday}")
            if (opens is None) != (closes is None) and not self.errors:
                missing = "opens" if opens is None else "closes"
                self.add_error(f"{missing}-{weekday}", _now("Give both times, or none for a day off."))
            elif opens is not None and closes is not None and closes <= opens:
                self.add_error(f"closes-{weekday}", _now("The end must be later than the beginning."))
        return values

    def hours(self) -> Hours:
        """What was typed: opening and closing time by weekday."""
        values = self.cleaned_data
        return {
            weekday: (values[f"opens-{weekday}"], values[f"closes-{weekday}"])
            for weekday in WEEKDAYS
            if values[f"opens-{weekday}"] is not None
        }


class AbsenceForm(forms.ModelForm[ContactAbsence]):
    """Days on which a contact is away."""

    class Meta:
        model = ContactAbsence
        fields = ["first_day", "last_day", "note"]
        widgets = {"first_day": DAY, "last_day": DAY}

    def clean(self) -> dict[str, Any]:
        """Said at the field; the database's own constraint would say it of the whole."""
        values = super().clean() or {}
        first, last = values.get("first_day"), values.get("last_day")
        if first and last and last < first:
            self.add_error("last_day", _now("The last day must not be before the first."))
        return values


class HolidayForm(forms.ModelForm[Holiday]):
    """A day on which no agency works."""

    class Meta:
        model = Holiday
        fields = ["day", "name"]
        widgets = {"day": DAY}


class PolicyForm(forms.ModelForm[AlertPolicy]):
    """Waiting times after an alert."""

    class Meta:
        model = AlertPolicy
        fields = ["remind_hours", "repeat_days", "drill_days"]
        help_texts = {
            "remind_hours": _(
                "In the contact's working hours. 0 sends no reminder; neither does a time as long as the one"
                " after which the next contact is told."
            ),
            "repeat_days": _("A second sample soon after tells whether the fall was real."),
            "drill_days": _("Overdue rehearsals are shown on the desk."),
        }


class QuietForm(forms.ModelForm[QuietPeriod]):
    """Until when a site is quiet, and why."""

    class Meta:
        model = QuietPeriod
        fields = ["ends_at", "reason"]
        widgets = {"ends_at": MOMENT}
        help_texts = {
            "ends_at": _("Within the next 60 days. What was held until then is sent."),
            "reason": _("For instance: the weir is being rebuilt; agreed with whom."),
        }
