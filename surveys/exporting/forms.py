"""The forms of exporting."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from surveys.exporting.contents import CONTENTS, FILE_KINDS
from surveys.exporting.models import Licence, PublishingTerms


class ExportForm(forms.Form):
    """What to take, and as which kind of file."""

    content = forms.ChoiceField(
        label=_("What"),
        choices=[(key, each.label) for key, each in CONTENTS.items()],
        widget=forms.RadioSelect,
        initial="visits",
    )
    file_kind = forms.ChoiceField(
        label=_("Kind of file"),
        choices=[(key, each.label) for key, each in FILE_KINDS.items()],
        widget=forms.RadioSelect,
        initial="xlsx",
    )


class TermsForm(forms.ModelForm[PublishingTerms]):
    """Licence, attribution and exactness of a group's archives."""

    class Meta:
        model = PublishingTerms
        fields = ("licence", "attribution", "contact_email", "blur")
        widgets = {"licence": forms.RadioSelect, "blur": forms.RadioSelect}

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        choices = [("", _("none yet: no archive can be made")), *Licence.choices]
        self.fields["licence"].choices = choices  # type: ignore[attr-defined]
