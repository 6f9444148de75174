"""The form in which a group writes a recording list."""

from __future__ import annotations

from collections.abc import Sequence

from django import forms
from django.utils.translation import gettext_lazy as _

from surveys.lists.lines import InvalidLines, ListLine, read_lines

LONGEST_TEXT = 40_000


class ListForm(forms.Form):
    """A name, and one name of a taxon a line."""

    name = forms.CharField(label=_("Name of the list"), max_length=120)
    lines = forms.CharField(
        label=_("What volunteers look for"),
        max_length=LONGEST_TEXT,
        strip=False,
        widget=forms.Textarea(attrs={"rows": "16", "spellcheck": "false"}),
        help_text=_(
            "One Latin or English name in each line, in the order of your sheet. A line that ends with a "
            "colon is a heading."
        ),
    )

    def clean_lines(self) -> Sequence[ListLine]:
        try:
            return read_lines(self.cleaned_data["lines"])
        except InvalidLines as refusal:
            raise forms.ValidationError(list(refusal.problems)) from refusal


class ListChangeForm(ListForm):
    """The same for a new version, which may put the old one right."""

    puts_right = forms.BooleanField(
        label=_("The old version was a mistake: score its visits by the new one"),
        required=False,
        help_text=_(
            "Tick this only when volunteers looked for what stands here all along. Counts and earlier scores "
            "are kept, and no alert is sent again. Otherwise visits stay with the version they were made on."
        ),
    )
