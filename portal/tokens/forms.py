"""The form of a new key."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from portal.tokens.models import Scope

DAYS = ((30, _("30 days")), (90, _("90 days")), (365, _("a year")))


class KeyForm(forms.Form):
    """What a key is for, and how long it holds."""

    name = forms.CharField(
        label=_("What uses it"),
        max_length=80,
        help_text=_("Such as: weather station at the mill."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    scopes = forms.MultipleChoiceField(
        label=_("What it may do"),
        choices=Scope.choices,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("Never more than you may yourself. Choose only what the program needs."),
    )
    days = forms.TypedChoiceField(label=_("How long it holds"), coerce=int, choices=DAYS, initial=90)
