"""What the page of a site's change is asked."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from scoring.indices import METHODS, Method
from surveys.texts.told import label_of


class ChangeForm(forms.Form):
    """The index, and the day that parts before from after."""

    index = forms.ChoiceField(label=_("Index"), required=False)
    since = forms.DateField(
        label=_("Compare before and after this day"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text=_(
            "A day on which something changed: a new treatment works, a weir taken out. Choose it for what "
            "happened, not for what the scores look like: a day picked from the chart finds a difference "
            "where there is none."
        ),
    )

    def __init__(self, *args: Any, methods: Iterable[Method], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offered = list(methods) or [METHODS["bmwp"]]
        field = self.fields["index"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(each.key, label_of(each.key)) for each in offered]
