"""Forms about erasing and keeping."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from portal.privacy.models import KeepingTerms


class ErasureForm(forms.Form):
    """The second step: somebody says that they have understood."""

    understood = forms.BooleanField(
        label=_("I have read what goes and what stays"),
        error_messages={"required": _("Tick this once you have read it.")},
    )


class LetterForm(ErasureForm):
    """The same by a coordinator, with how the member asked."""

    reason = forms.CharField(
        label=_("How and when they asked for it"),
        max_length=300,
        help_text=_(
            "Such as: letter of 3 May, kept by the secretary. Write nothing here that is to be erased."
        ),
        error_messages={"required": _("Say how and when they asked for it.")},
    )
    field_order = ["reason", "understood"]


class KeepingForm(forms.ModelForm[KeepingTerms]):
    """After how many days things go."""

    class Meta:
        model = KeepingTerms
        fields = ["return_days", "mail_days", "draft_days"]

    def validate_unique(self) -> None:
        """The number is drawn, and the group's row is looked up before."""
