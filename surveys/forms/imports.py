"""Choosing a spreadsheet."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _


class SheetForm(forms.Form):
    """One file; what is in it is judged by surveys.importing."""

    sheet = forms.FileField(
        label=_("Spreadsheet"),
        help_text=_("CSV (UTF-8) or XLSX, at most 20 MB and 10,000 rows."),
        widget=forms.FileInput(attrs={"accept": ".csv,.xlsx,.txt,.tsv"}),
        error_messages={
            "required": _("Choose a file first."),
            "missing": _("Choose a file first."),
            "empty": _("The file is empty."),
        },
    )
