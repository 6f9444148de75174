"""The form on a method's page."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from portal.views.methods.examples import LONGEST_TEXT, ranges_in_words, read_lines
from scoring.samples import Count


class ExampleForm(forms.Form):
    """Lines of `taxon,count` to be scored."""

    counts = forms.CharField(
        label=_("Animals, one kind a line: name, number"),
        max_length=LONGEST_TEXT,
        widget=forms.Textarea(attrs={"rows": "9", "spellcheck": "false", "autocapitalize": "off"}),
        error_messages={"required": _("Write at least one line, for instance: Baetidae,12")},
    )

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["counts"].help_text = _now(
            "Latin or English names. For the number write 12, a range (%(ranges)s), 0 for looked for and not "
            "found, or nothing for seen but not counted."
        ) % {"ranges": ranges_in_words()}

    def clean_counts(self) -> list[Count]:
        """The lines read; every line that cannot be read is named."""
        counts, problems = read_lines(self.cleaned_data["counts"])
        if problems:
            raise forms.ValidationError(problems)
        return counts
