"""Forms of the rota."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils import timezone
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext_lazy as _

from surveys.models import Site
from surveys.places.locations import InvalidLocation, parse_location
from surveys.rota.models import Availability, NamedDays
from surveys.rota.models.plans import USUAL_START
from surveys.rota.services.proposals import LONGEST_WEEKS

USUAL_WEEKS = 8


def day_field(**kwargs: Any) -> forms.DateField:
    """A day, chosen on the calendar of the device."""
    return forms.DateField(widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **kwargs)


def clock_field(**kwargs: Any) -> forms.TimeField:
    """A time of the day."""
    return forms.TimeField(widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"), **kwargs)


class AvailabilityForm(forms.ModelForm[Availability]):
    """When and how far a member can go. The place is one rough point, typed as for a site."""

    weekdays = forms.TypedMultipleChoiceField(
        label=_("Days of the week on which you usually can"),
        choices=list(WEEKDAYS.items()),
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices--row"}),
    )
    home = forms.CharField(
        label=_("Roughly where you start from"),
        max_length=80,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text=_(
            "Not your address: a place nearby, as latitude and longitude such as 54.44, -2.59 or a grid "
            "reference. It is kept to about a kilometre, and used for nothing but the distance to the sites."
        ),
    )
    near_sites = forms.ModelMultipleChoiceField(
        label=_("Sites near me"),
        queryset=Site.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("Instead of a place, or beside it: you are proposed for these however far they are."),
    )

    class Meta:
        model = Availability
        fields = [
            "weekdays",
            "most_a_month",
            "travel_km",
            "near_sites",
            "remind_days",
            "first_name_in_calendar",
        ]
        widgets = {"travel_km": forms.NumberInput(attrs={"data-unit": "km"})}
        help_texts = {
            "most_a_month": _("You are never proposed for more."),
            "travel_km": _("As the crow flies. Leave empty if distance does not matter."),
            "remind_days": _("0 for no reminders."),
            "first_name_in_calendar": _(
                "Whoever has the calendar's address reads it. Names of people under 18 never stand there."
            ),
        }

    def __init__(self, *args: Any, sites: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["near_sites"]
        field.queryset = sites
        own = self.instance
        if own.latitude is not None:
            self.initial.setdefault("home", f"{own.latitude}, {own.longitude}")

    def clean_home(self) -> tuple[Decimal | None, Decimal | None]:
        typed = self.cleaned_data["home"].strip()
        if not typed:
            return None, None
        try:
            place = parse_location(typed)
        except InvalidLocation as reason:
            raise forms.ValidationError(reason.message) from reason
        return Decimal(f"{place.latitude:.2f}"), Decimal(f"{place.longitude:.2f}")

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if values.get("travel_km") and "home" in values and values["home"][0] is None:
            self.add_error("home", _("To measure a distance the portal needs a rough place."))
        return values

    def facts(self) -> dict[str, Any]:
        """The fields of `Availability` and their values, as `save_availability` takes them."""
        values = {
            name: value for name, value in self.cleaned_data.items() if name not in ("home", "near_sites")
        }
        latitude, longitude = self.cleaned_data["home"]
        return values | {"latitude": latitude, "longitude": longitude}


class NamedDaysForm(forms.Form):
    """Days on which a member can, or is away."""

    kind = forms.ChoiceField(label=_("On these days I"), choices=NamedDays.Kind.choices)
    first_day = day_field(label=_("First day"))
    last_day = day_field(label=_("Last day"), required=False, help_text=_("Leave empty for one day."))

    def span(self) -> tuple[date, date]:
        """First and last day; one day is both."""
        first = self.cleaned_data["first_day"]
        return first, self.cleaned_data["last_day"] or first


class ProposalForm(forms.Form):
    """Over which weeks a rota is proposed."""

    first_day = day_field(label=_("First day"))
    weeks = forms.IntegerField(
        label=_("Weeks"), validators=[MinValueValidator(1), MaxValueValidator(LONGEST_WEEKS)]
    )
    start = clock_field(label=_("Usual start"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        tomorrow = timezone.localdate() + timedelta(days=1)
        kwargs.setdefault("initial", {"first_day": tomorrow, "weeks": USUAL_WEEKS, "start": USUAL_START})
        super().__init__(*args, **kwargs)


class MoveForm(forms.Form):
    """Another day or hour."""

    day = day_field(label=_("Day"))
    start = clock_field(label=_("Start"))


class NewVisitForm(MoveForm):
    """One visit more, by hand."""

    site = forms.ModelChoiceField(label=_("Site"), queryset=Site.objects.none(), empty_label=_("Choose one"))
    field_order = ["site", "day", "start"]

    def __init__(self, *args: Any, sites: Any, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"start": USUAL_START})
        super().__init__(*args, **kwargs)
        field: Any = self.fields["site"]
        field.queryset = sites


class ChoiceForm(forms.Form):
    """One of several, by number: a member to put down, or a place to swap for."""

    chosen = forms.TypedChoiceField()

    def __init__(
        self, *args: Any, label: Any, name: str, choices: Iterable[tuple[str, str]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields.pop("chosen")
        field.label, field.choices = label, [("", _("Choose…")), *choices]
        self.fields[name] = field


class ReasonForm(forms.Form):
    """Why a visit is called off."""

    reason = forms.CharField(label=_("Why"), max_length=300, required=False)
