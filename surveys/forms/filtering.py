"""Which visits of a group are meant: the form above their list, and what an export is narrowed to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.db.models import Q
from django.db.models.functions import ExtractYear
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.models import Group, User
from surveys.models import RecordingList, Site, Visit
from surveys.models.visits import Status

NOT_MADE = "not_made"


@dataclass(frozen=True)
class FurtherChoice:
    """A choice that a floor above offers: label, (value, words) and where a visit keeps it."""

    label: Promise
    choices: Sequence[tuple[str, str | Promise]]
    lookup: str


_FURTHER: dict[str, FurtherChoice] = {}


def offer_choice(name: str, choice: FurtherChoice) -> None:
    """Let visits be chosen by something that only an app above knows, such as a verdict."""
    _FURTHER[name] = choice


def further_choices() -> Mapping[str, FurtherChoice]:
    """What the apps above offer, by name."""
    return MappingProxyType(_FURTHER)


# Where a word of the search is looked for.
_SEARCHED = (
    "site__code",
    "site__name",
    "site__river",
    "recorder__name",
    "recorder_name",
    "partner__name",
    "partner_name",
    "pollution_signs",
    "notes",
)


class VisitFilter(forms.Form):
    """Which visits of the group to list; a choice that does not exist chooses nothing."""

    site = forms.ModelChoiceField(
        label=_("Site"), queryset=Site.objects.none(), required=False, empty_label=_("all sites")
    )
    year = forms.TypedChoiceField(label=_("Year"), coerce=int, required=False, empty_value=None)
    status = forms.ChoiceField(
        label=_("Status"),
        required=False,
        choices=[("", _("any status")), *Status.choices, (NOT_MADE, _("not made"))],
    )
    river = forms.ChoiceField(label=_("River"), required=False)
    since = forms.DateField(
        label=_("From"), required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    until = forms.DateField(
        label=_("To"), required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    recorder = forms.ModelChoiceField(
        label=_("Recorder"), queryset=User.objects.none(), required=False, empty_label=_("anybody")
    )
    recording_list = forms.ModelChoiceField(
        label=_("Recording list"),
        queryset=RecordingList.objects.none(),
        required=False,
        empty_label=_("any list"),
    )
    text = forms.CharField(
        label=_("Words"),
        required=False,
        max_length=80,
        help_text=_("In site, names, notes or signs of pollution."),
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )

    # What is asked for most stands open; the rest is folded until it is used.
    FOLDED = ("river", "since", "until", "recorder", "recording_list", "text")

    def __init__(self, *args: Any, group: Group, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        visits = Visit.objects.of_group(group).order_by()
        sites = Site.objects.of_group(group)
        self._offer("site", sites)
        self._offer("recorder", User.objects.filter(id__in=visits.values("recorder")).order_by("name"))
        self._offer("recording_list", RecordingList.objects.filter(id__in=visits.values("recording_list")))
        years = visits.annotate(year=ExtractYear("visited_on")).order_by("-year").distinct()
        self._choose("year", _("all years"), years.values_list("year", flat=True))
        rivers = sites.order_by("river").values_list("river", flat=True).distinct()
        self._choose("river", _("all rivers"), rivers)
        for name, further in further_choices().items():
            whole = [("", _("any")), *further.choices]
            self.fields[name] = forms.ChoiceField(label=str(further.label), choices=whole, required=False)

    def _offer(self, name: str, rows: Any) -> None:
        self.fields[name].queryset = rows  # type: ignore[attr-defined]

    def _choose(self, name: str, whole: Any, found: Iterable[Any]) -> None:
        choices = [("", whole), *((str(each), str(each)) for each in found)]
        self.fields[name].choices = choices  # type: ignore[attr-defined]

    def chosen(self) -> Q:
        """The valid choices as a condition on visits; a choice that cannot be read is passed over."""
        self.is_valid()
        found = dict(self.cleaned_data)
        status, words = found.pop("status", ""), found.pop("text", "")
        conditions = Q(was_made=False) if status == NOT_MADE else Q(status=status) if status else Q()
        for name, lookup in lookups().items():
            value = found.get(name)
            conditions &= Q(**{lookup: value}) if value else Q()
        return conditions & search(words)

    def query(self) -> str:
        """The choices as part of an address, for the links to other pages."""
        return urlencode({name: self.data[name] for name in self.fields if self.data.get(name)})

    @property
    def is_narrowed(self) -> bool:
        """Whether anything at all is chosen."""
        return bool(self.query())

    @property
    def unfolded(self) -> bool:
        """Whether one of the folded choices is in use, so that nothing narrows the list unseen."""
        return any(self.data.get(name) for name in (*self.FOLDED, *further_choices()))

    @property
    def further(self) -> list[forms.BoundField]:
        """The choices that the apps above offer."""
        return [self[name] for name in further_choices()]


LOOKUPS = {
    "site": "site",
    "year": "visited_on__year",
    "river": "site__river",
    "since": "visited_on__gte",
    "until": "visited_on__lte",
    "recorder": "recorder",
    "recording_list": "recording_list",
}


def lookups() -> Mapping[str, str]:
    """Where a visit keeps what is chosen, by the name of the choice."""
    return {**LOOKUPS, **{name: each.lookup for name, each in further_choices().items()}}


def search(text: str) -> Q:
    """Visits in which every word of the text stands somewhere, capitals or not."""
    found = Q()
    for word in text.split():
        anywhere = Q()
        for lookup in _SEARCHED:
            anywhere |= Q(**{f"{lookup}__icontains": word})
        found &= anywhere
    return found
