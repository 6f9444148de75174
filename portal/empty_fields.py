"""What a form says at a field that was left empty, where the field has no words of its own."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING

from django import forms
from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django.utils.functional import _StrOrPromise

WHAT_TO_DO: Mapping[type[forms.Field], _StrOrPromise] = MappingProxyType(
    {
        forms.Field: _("Fill this in."),
        forms.ChoiceField: _("Choose one of the answers offered."),
        forms.ModelChoiceField: _("Choose one of the answers offered."),
        forms.BooleanField: _("Tick this to go on."),
        forms.FileField: _("Choose a file first."),
    }
)


def say_what_to_do() -> None:
    """Give each kind of field its words; called once at the start, before a form is declared.

    By the kinds' own defaults: a base class of ours would leave out the forms of libraries.
    """
    for kind, words in WHAT_TO_DO.items():
        kind.default_error_messages = {**kind.default_error_messages, "required": words}
