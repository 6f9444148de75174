"""The form that starts a safe return."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.accounts.forms import TelephoneField
from surveys.forms.outings import moment_field
from surveys.services.safe_returns import Plan

USUAL_HOURS = 3


def _person(
    label: object, choices: Sequence[tuple[str, object]], help_text: object = ""
) -> forms.TypedChoiceField:
    return forms.TypedChoiceField(
        label=label,  # type: ignore[arg-type]
        choices=choices,
        coerce=UUID,
        empty_value=None,
        required=False,
        help_text=help_text,  # type: ignore[arg-type]
    )


class SafeReturnForm(forms.Form):
    """Who goes, when they expect to be back, and who is told if they do not say so."""

    number = forms.UUIDField(widget=forms.HiddenInput)
    expected_at = moment_field(
        _("Back by"), _("With time to spare for the way. You can take 30 minutes more as often as you need.")
    )
    partner_name = forms.CharField(
        label=_("Or the partner's name"),
        max_length=120,
        required=False,
        help_text=_("If they are not a member of this group."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    phone = TelephoneField(
        label=_("Telephone that you carry"),
        max_length=40,
        required=False,
        help_text=_("Told to the coordinators and the person you name, only if you are overdue."),
        widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "tel"}),
    )
    car = forms.CharField(
        label=_("Car, and where it is left"),
        max_length=200,
        required=False,
        help_text=_("Such as: small green van, lay-by at the bridge. Told only if you are overdue."),
    )
    named_name = forms.CharField(
        label=_("Or the name of somebody else"),
        max_length=120,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    named_email = forms.EmailField(
        label=_("Their e-mail address"),
        max_length=254,
        required=False,
        help_text=_("They get an e-mail now, which says that you have named them and until when."),
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        error_messages={"invalid": _("This is not an e-mail address. Look for a missing @ or dot.")},
    )
    field_order = (
        *("number", "expected_at", "partner", "partner_name", "phone", "car"),
        *("named_user", "named_name", "named_email"),
    )

    def __init__(self, data: object = None, *, people: Sequence[tuple[str, str]], phone: str = "") -> None:
        initial = {"number": uuid4(), "expected_at": usual_end(), "phone": phone}
        super().__init__(data, initial=initial)  # type: ignore[arg-type]
        self.fields["partner"] = _person(
            _("Partner"),
            [("", _("nobody, or not a member")), *people],
            _("The second adult who goes with you."),
        )
        self.fields["named_user"] = _person(
            _("Who is told if you do not come back"),
            [("", _("somebody else, named below")), *people],
            _("Somebody who stays on shore, reads e-mail in that time and can telephone."),
        )
        self.order_fields(self.field_order)

    def plan(self) -> Plan:
        """What `start_safe_return` takes."""
        return Plan(**{key: value for key, value in self.cleaned_data.items() if key != "number"})


def usual_end() -> datetime:
    """A time to begin with: three hours from now, at the full quarter."""
    end = timezone.localtime() + timedelta(hours=USUAL_HOURS)
    return end.replace(minute=end.minute // 15 * 15, second=0, microsecond=0)
