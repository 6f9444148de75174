"""Ordering a report."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from portal.reports.models import GroupPicture
from portal.reports.sections import captioned, optional_sections

MOST_CHARACTERS = 6_000
LONGEST_CAPTION = 600
CAPTION = "caption-"


class ReportForm(forms.Form):
    """Which year, and what the group wants to say before the figures."""

    year = forms.TypedChoiceField(label=_("Year"), coerce=int)
    foreword = forms.CharField(
        label=_("Foreword"),
        required=False,
        max_length=MOST_CHARACTERS,
        widget=forms.Textarea({"rows": 6}),
        help_text=_(
            "Stands before the figures. Name nobody who has not agreed, and accuse nobody: "
            "a low score shows that something was wrong, not who did it."
        ),
    )

    def __init__(self, *args: Any, years: Sequence[int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        year = self.fields["year"]
        assert isinstance(year, forms.TypedChoiceField)
        year.choices = [(each, str(each)) for each in years]


class WordsForm(forms.Form):
    """Foreword, captions and sections of a draft; its figures say which there are."""

    correction = forms.CharField(
        label=_("What was corrected"),
        max_length=2_000,
        widget=forms.Textarea({"rows": 4}),
        help_text=_("Stands at the head of the new edition and on the page of the old one."),
    )
    foreword = forms.CharField(
        label=_("Foreword"),
        required=False,
        max_length=MOST_CHARACTERS,
        widget=forms.Textarea({"rows": 8}),
        help_text=_("Leave a line empty between paragraphs. Name nobody who has not agreed."),
    )
    left_out = forms.MultipleChoiceField(
        label=_("Leave out of the report"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("The report says what was left out. Its summary counts everything all the same."),
    )

    def __init__(self, *args: Any, figures: Mapping[str, Any], is_correction: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = self.fields["left_out"]
        assert isinstance(choices, forms.MultipleChoiceField)
        choices.choices = list(optional_sections(figures).items())
        for key, label in captioned(figures).items():
            self.fields[CAPTION + key] = _caption(label)
        if not is_correction:
            del self.fields["correction"]

    @property
    def captions(self) -> Iterable[forms.BoundField]:
        """The fields of the captions, one for each drawing."""
        return [self[name] for name in self.fields if name.startswith(CAPTION)]

    def words(self) -> dict[str, Any]:
        """What `Words` takes; empty captions are none."""
        typed = {
            name.removeprefix(CAPTION): value for name, value in self.cleaned_data.items() if CAPTION in name
        }
        return {
            "foreword": self.cleaned_data["foreword"],
            "captions": {key: value for key, value in typed.items() if value},
            "left_out": self.cleaned_data["left_out"],
            "correction": self.cleaned_data.get("correction", ""),
        }


def _caption(label: str) -> forms.CharField:
    return forms.CharField(
        label=label, required=False, max_length=LONGEST_CAPTION, widget=forms.Textarea({"rows": 2})
    )


class PictureForm(forms.Form):
    """The picture on the cover; without a new file only its words change."""

    file = forms.FileField(
        label=_("Picture"),
        help_text=_(
            "JPEG, PNG or WebP, 15 MB at most, best 1,800 pixels wide or more. "
            "What the camera noted of place and time is taken out."
        ),
        widget=forms.FileInput({"accept": "image/jpeg,image/png,image/webp"}),
    )
    alt = forms.CharField(
        label=_("What the picture shows"),
        max_length=250,
        help_text=_("One sentence, read aloud to people who cannot see the picture."),
    )
    people = forms.ChoiceField(
        label=_("People in the picture"),
        choices=GroupPicture.People.choices,
        widget=forms.RadioSelect,
        help_text=_("A picture of people who did not agree cannot be printed: choose another one."),
    )
    credit = forms.CharField(
        label=_("Who took it"),
        required=False,
        max_length=120,
        help_text=_("Printed on the cover. Leave empty to name nobody."),
    )

    def __init__(self, *args: Any, has_picture: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["file"].required = not has_picture
