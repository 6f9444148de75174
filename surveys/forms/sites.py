"""The form that adds and changes a site."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.utils.dates import MONTHS
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.models import Group
from surveys.lists.recording import lists_of
from surveys.models import Site
from surveys.places.locations import InvalidLocation, Location, parse_location

DATES = ("permission_from", "permission_until", "opened_on", "closed_on")
PLACE = ("latitude", "longitude", "location_as_typed", "location_precision_m")
LONG = ("hazards", "access_notes", "permission_conditions")


class SiteForm(forms.ModelForm[Site]):
    """A site's facts; the location is one line, typed as degrees or as a grid reference."""

    location = forms.CharField(
        label=_("Location"),
        max_length=80,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
        help_text=_(
            "Latitude and longitude such as 54.1234, -2.3456, or a British or Irish grid reference such as "
            "SD 7712 6634. The middle of the reach that you sample."
        ),
    )

    gauge_link = forms.URLField(
        label=_("Where the gauge is read"),
        max_length=300,
        required=False,
        assume_scheme="https",
        help_text=_("The address of the page that shows it."),
        error_messages={"invalid": _("Give the whole address of the page, such as https://levels.example/12.")},
    )

    class Meta:
        model = Site
        fields = [
            "code",
            "name",
            "river",
            "catchment",
            "downstream",
            "recording_list",
            "visit_interval_days",
            "people_needed",
            "visit_minutes",
            "season_first_month",
            "season_last_month",
            "spots",
            "kicks_per_spot",
            "seconds_per_kick",
            "hazards",
            "access_notes",
            "level_limit",
            "gauge_name",
            "gauge_link",
            "level_limit_m",
            "landowner",
            "permission_conditions",
            "permission_from",
            "permission_until",
            "opened_on",
            "closed_on",
        ]
        widgets = {
            **{name: forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d") for name in DATES},
            **{name: forms.Textarea(attrs={"rows": "3"}) for name in LONG},
        }
        help_texts = {
            "hazards": _("Seen only inside the group: depth, currents, banks, wire, livestock, outfalls."),
            "access_notes": _(
                "Parking, path, phone signal, address for rescue services. Seen only inside the group."
            ),
            "downstream": _("The next of your sites that the water reaches."),
            "level_limit_m": _("Above this nobody is asked to go."),
            "permission_until": _("Leave empty if it does not run out."),
            "closed_on": _("Leave empty while the site is in use."),
        }

    def __init__(self, *args: Any, group: Group, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.group = group
        # The form knows its group before it is checked, so that a code used twice is told at the field.
        self.instance.group = group
        others = Site.objects.of_group(group).exclude(pk=self.instance.pk)
        self._choose("downstream", others, _("none of our sites"))
        self._choose("recording_list", lists_for(group, self.instance), None)
        for name in ("season_first_month", "season_last_month"):
            months: Any = self.fields[name]
            months.choices = [("", _("all year")), *MONTHS.items()]
        self.fields["visit_minutes"].required = False
        self.initial.setdefault("location", _place_of(self.instance))

    def _choose(self, name: str, queryset: Any, empty: str | Promise | None) -> None:
        field: Any = self.fields[name]
        # The label first: setting the rows is what makes the field draw its choices anew.
        field.empty_label, field.queryset = empty, queryset

    def clean_location(self) -> Location:
        try:
            return parse_location(self.cleaned_data["location"])
        except InvalidLocation as reason:
            raise forms.ValidationError(reason.message) from reason

    def clean_visit_minutes(self) -> int:
        """Left empty it is the usual length."""
        return int(self.cleaned_data["visit_minutes"] or Site._meta.get_field("visit_minutes").default)

    def clean_code(self) -> str:
        code = str(self.cleaned_data["code"]).strip()
        same = Site.objects.of_group(self.group).exclude(pk=self.instance.pk).filter(code__iexact=code)
        if same.exists():
            raise forms.ValidationError(_("Another site of this group has this code."))
        return code

    def facts(self) -> dict[str, Any]:
        """The model's fields and their values, as `save_site` takes them."""
        cleaned = dict(self.cleaned_data)
        place: Location = cleaned.pop("location")
        # What nobody touched stays as exact as it is, however it was rounded for the form.
        if "location" not in self.changed_data:
            return cleaned
        return cleaned | {
            "latitude": place.latitude,
            "longitude": place.longitude,
            "location_as_typed": place.as_typed,
            "location_precision_m": place.precision_m,
        }

    def refuse(self, refusal: ValidationError) -> None:
        """Show what the service refused at its fields; the location is one line here, two numbers there."""
        for name, reasons in refusal.error_dict.items():
            own = name if name in self.fields else "location" if name in PLACE else None
            self.add_error(own, reasons)


def _place_of(site: Site) -> str:
    """Where the site lies, as it was typed; a place that a program sent, which typed nothing, as degrees."""
    if site.location_as_typed or site.latitude is None:
        return site.location_as_typed
    return f"{site.latitude:.5f}, {site.longitude:.5f}"


def lists_for(group: Group, site: Site) -> Any:
    """Recording lists a site may use: built in or the group's own, in use, and the one it has."""
    in_use = Q(retired_at=None) | Q(pk=site.recording_list_id)
    return lists_of(group).filter(in_use).order_by("name", "version")
