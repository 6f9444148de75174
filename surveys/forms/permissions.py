"""The form that renews a permission."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _


class PermissionForm(forms.Form):
    """Until when the landowner lets the group in."""

    permission_until = forms.DateField(
        label=_("Permission lasts until"),
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text=_(
            "As the landowner has told you. Where it has no end, change the site and leave the day empty."
        ),
    )
