"""Forms of an enquiry: asked in public, written down at the bank, and led on by a coordinator."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.utils import timezone
from django.utils.dates import MONTHS
from django.utils.translation import gettext_lazy as _

from portal.accounts.forms import TelephoneField
from portal.accounts.models import Group
from portal.accounts.queries import members_of
from surveys.models import Site
from surveys.people.services.asking import Asked

NOT_AN_ADDRESS = {"invalid": _("This is not an e-mail address. Look for a missing @ or dot.")}
GUARDIAN_FIELDS = ("guardian_name", "guardian_phone", "guardian_email")


def text_area(rows: int = 4) -> forms.Textarea:
    """A box of so many lines."""
    return forms.Textarea(attrs={"rows": str(rows)})


def day_input() -> forms.DateInput:
    """A day, as browsers show and send it."""
    return forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class EnquiryForm(forms.Form):
    """What somebody says of themselves; of a minor, whom to ask."""

    name = forms.CharField(label=_("Name"), max_length=120)
    email = forms.EmailField(
        label=_("E-mail address"), max_length=254, required=False, error_messages=NOT_AN_ADDRESS
    )
    phone = TelephoneField(label=_("Telephone"), max_length=40, required=False)
    wish = forms.CharField(
        label=_("What they would like"),
        max_length=2000,
        required=False,
        help_text=_("Such as: go along once, sort a tray, and the days that suit."),
        widget=text_area(),
    )
    is_minor = forms.BooleanField(label=_("Under 18"), required=False)
    adult_month = forms.TypedChoiceField(
        label=_("Month in which they turn 18"),
        choices=[("", _("choose a month")), *MONTHS.items()],
        coerce=int,
        empty_value=None,
        required=False,
    )
    adult_year = forms.TypedChoiceField(
        label=_("Year in which they turn 18"), coerce=int, empty_value=None, required=False
    )
    guardian_name = forms.CharField(
        label=_("Guardian's name"),
        max_length=120,
        required=False,
        help_text=_("Only for somebody under 18: a parent or whoever stands in for them."),
    )
    guardian_phone = TelephoneField(label=_("Guardian's telephone"), max_length=40, required=False)
    guardian_email = forms.EmailField(
        label=_("Guardian's e-mail address"), max_length=254, required=False, error_messages=NOT_AN_ADDRESS
    )
    agreed = forms.BooleanField(
        label=_("They agree that this is kept as said below"),
        error_messages={"required": _("Without this nothing is kept.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        this_year = timezone.localdate().year
        years = [(str(year), str(year)) for year in range(this_year, this_year + 19)]
        field: Any = self.fields["adult_year"]
        field.choices = [("", _("choose a year")), *years]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        cleaned["minor_until"] = None
        if not (cleaned.get("email") or cleaned.get("phone") or {"email", "phone"} & self.errors.keys()):
            self.add_error("email", _("Give an e-mail address or a telephone number."))
        if cleaned.get("is_minor"):
            self._need_guardian(cleaned)
            self._need_month(cleaned)
        else:
            # Whoever is an adult has no guardian to be kept.
            cleaned.update(dict.fromkeys(GUARDIAN_FIELDS, ""))
        return cleaned

    def _need_guardian(self, cleaned: dict[str, Any]) -> None:
        if not cleaned.get("guardian_name"):
            self.add_error("guardian_name", _("Under 18, a guardian's name is needed."))
        reachable = cleaned.get("guardian_phone") or cleaned.get("guardian_email")
        if not reachable and not {"guardian_email", "guardian_phone"} & self.errors.keys():
            self.add_error("guardian_phone", _("Give the guardian's telephone or e-mail address."))

    def _need_month(self, cleaned: dict[str, Any]) -> None:
        month, year = cleaned.get("adult_month"), cleaned.get("adult_year")
        for name, value in (("adult_month", month), ("adult_year", year)):
            if not value and name not in self.errors:
                self.add_error(name, _("Under 18, this is needed: until then somebody looks after them."))
        if not month or not year:
            return
        # No birthday is asked for, so that they count as under 18 to the end of its month.
        until = date(year + month // 12, month % 12 + 1, 1)
        if until <= timezone.localdate():
            self.add_error("adult_year", _("This month is past: they are 18, so the box above stays empty."))
        cleaned["minor_until"] = until

    def asked(self) -> Asked:
        """What the services take."""
        fields = ("name", "email", "phone", "wish", "is_minor", "minor_until", *GUARDIAN_FIELDS)
        return Asked(**{name: self.cleaned_data[name] for name in fields})


class PublicEnquiryForm(EnquiryForm):
    """The same in the words of whoever asks; without an address nobody could confirm it."""

    # Hidden from people; programs that fill in whatever they find give themselves away.
    website = forms.CharField(required=False, widget=forms.TextInput(attrs={"autocomplete": "off"}))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words: dict[str, Any] = {
            "name": _("Your name"),
            "email": _("Your e-mail address"),
            "phone": _("Your telephone"),
            "wish": _("What you would like"),
            "is_minor": _("I am under 18"),
            "adult_month": _("Month in which I turn 18"),
            "adult_year": _("Year in which I turn 18"),
            "guardian_name": _("Your guardian's name"),
            "guardian_phone": _("Your guardian's telephone"),
            "guardian_email": _("Your guardian's e-mail address"),
            "agreed": _("I agree that this is kept as said below"),
        }
        for name, label in words.items():
            self.fields[name].label = label
        self.fields["email"].required = True
        self.fields["email"].help_text = _("You get an e-mail with a button, so that nobody asks in your name.")
        self.fields["phone"].help_text = _("If you would rather be rung.")
        self.fields["guardian_name"].help_text = _("If you are under 18: a parent, or who stands in for one.")
        for name, filled in (("name", "name"), ("email", "email"), ("phone", "tel")):
            self.fields[name].widget.attrs["autocomplete"] = filled

    @property
    def is_by_a_program(self) -> bool:
        """Whether the field that people do not see is filled in."""
        return bool(self.data.get("website"))


def member_choices(group: Group) -> list[tuple[str, str]]:
    """Members as choices, by name."""
    return [(str(each.user_id), each.user.name) for each in members_of(group)]


def person_field(label: Any, choices: Sequence[tuple[str, Any]], **more: Any) -> forms.TypedChoiceField:
    """A member, as their user id."""
    return forms.TypedChoiceField(label=label, choices=choices, coerce=UUID, empty_value=None, **more)


class AnswerForm(forms.Form):
    """A coordinator's own words."""

    message = forms.CharField(label=_("Your answer"), max_length=5000, widget=text_area(6))

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, auto_id="answer_%s")


class FirstVisitForm(forms.Form):
    """When, where and with whom."""

    day = forms.DateField(label=_("Day"), widget=day_input())
    message = forms.CharField(
        label=_("Time, meeting place and anything else"), max_length=2000, required=False, widget=text_area()
    )
    field_order = ("day", "site", "supervisor", "message")

    def __init__(self, data: Any = None, *, group: Group) -> None:
        super().__init__(data, auto_id="visit_%s")
        sites = Site.objects.of_group(group).filter(closed_on=None)
        site_choices = [("", _("choose a site")), *((str(each.pk), str(each)) for each in sites)]
        self.fields["site"] = forms.TypedChoiceField(label=_("Site"), choices=site_choices, coerce=UUID)
        self.fields["supervisor"] = person_field(
            _("Who looks after them"), [("", _("choose a member")), *member_choices(group)]
        )
        self.order_fields(self.field_order)


class OfferForm(forms.Form):
    """Where the invitation to join goes; of somebody under 18, until when."""

    email = forms.EmailField(label=_("E-mail address"), max_length=254, error_messages=NOT_AN_ADDRESS)
    minor_until = forms.DateField(
        label=_("Under 18 until"),
        widget=day_input(),
        required=False,
        help_text=_(
            "The end of the month they named, or their 18th birthday. Until then they never go without an "
            "adult."
        ),
    )

    def __init__(
        self, data: Any = None, *, email: str, is_minor: bool, minor_until: date | None = None
    ) -> None:
        super().__init__(data, initial={"email": email, "minor_until": minor_until}, auto_id="offer_%s")
        if not is_minor:
            del self.fields["minor_until"]


class ReasonForm(forms.Form):
    """Why, in a few words."""

    reason = forms.CharField(label=_("Why"), max_length=500, widget=text_area(2))

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, auto_id="reason_%s")
