"""Fields of the browser that several forms use."""

from __future__ import annotations

from django import forms

LONG = forms.Textarea(attrs={"rows": "4"})
DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
MOMENT = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
