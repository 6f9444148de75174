"""Ordering a report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

MOST_CHARACTERS = 6_000


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
