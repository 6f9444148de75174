"""Forms about agency contacts: who they are, when they are at work, for which sites they are told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import time
from typing import Any

from django import forms
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from alerts.forms.widgets import DAY
from alerts.models import AgencyContact, ContactAbsence
from portal.accounts.forms import TelephoneField, language_choices
from surveys.models import Site

CLOCK = {"type": "time"}
Hours = dict[int, tuple[time, time]]


class ContactForm(forms.ModelForm[AgencyContact]):
    """Somebody at an agency."""

    language = forms.ChoiceField(
        label=_("Language of alerts"), choices=lambda: language_choices(_("the group's")), required=False
    )

    class Meta:
        model = AgencyContact
        fields = ["name", "organisation", "email", "phone", "duty_line", "language", "is_active"]
        field_classes = {"phone": TelephoneField, "duty_line": TelephoneField}
        # Somebody else's: a browser would offer one's own.
        widgets = {
            "name": forms.TextInput(attrs={"autocomplete": "off"}),
            "organisation": forms.TextInput(attrs={"autocomplete": "off"}),
            "email": forms.EmailInput(attrs={"autocomplete": "off"}),
        }
        labels = {"is_active": _("in service")}
        help_texts = {
            "email": _(
                "Alerts go there. Whoever has an account with this address sees its incidents when signed in."
            ),
            "duty_line": _("Shown to everybody who reads an alert."),
            "is_active": _("Without the tick nothing is sent, and links sent before stop working."),
        }


class SiteContactsForm(forms.Form):
    """In which order the group's contacts are told of a low score at a site."""

    def __init__(self, *args: Any, contacts: Iterable[AgencyContact], site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.contacts = list(contacts)
        named = dict(site.contacts.values_list("contact_id", "order"))
        ranks = sorted(named, key=lambda contact_id: named[contact_id])
        places = [("", _now("not told"))] + [(str(n), str(n)) for n in range(1, len(self.contacts) + 1)]
        for each in self.contacts:
            initial = str(ranks.index(each.pk) + 1) if each.pk in named else ""
            field = forms.ChoiceField(label=str(each), choices=places, required=False, initial=initial)
            self.fields[str(each.pk)] = field

    def clean(self) -> dict[str, Any]:
        """No two contacts can be told at the same place."""
        values = super().clean() or {}
        taken: dict[str, str] = {}
        # A copy, because a field with an error is taken out of the values.
        for name, place in list(values.items()):
            if place and place in taken:
                self.add_error(name, _now("Place %(place)s is taken by another contact.") % {"place": place})
            taken[place] = name
        return values

    def in_order(self) -> list[AgencyContact]:
        """The contacts chosen, first to be told first."""
        chosen = [each for each in self.contacts if self.cleaned_data[str(each.pk)]]
        return sorted(chosen, key=lambda each: int(self.cleaned_data[str(each.pk)]))


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
