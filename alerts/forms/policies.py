"""Forms about how a group wants its alerts followed up, and when a site is quiet."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from alerts.forms.widgets import DAY, MOMENT
from alerts.models import AlertPolicy, Holiday, QuietPeriod


class HolidayForm(forms.ModelForm[Holiday]):
    """A day on which no agency works."""

    class Meta:
        model = Holiday
        fields = ["day", "name"]
        widgets = {"day": DAY}


class PolicyForm(forms.ModelForm[AlertPolicy]):
    """Waiting times after an alert."""

    class Meta:
        model = AlertPolicy
        fields = ["remind_hours", "repeat_days", "drill_days"]
        help_texts = {
            "remind_hours": _(
                "In the contact's working hours. 0 sends no reminder; neither does a time as long as the one"
                " after which the next contact is told."
            ),
            "repeat_days": _("A second sample soon after tells whether the fall was real."),
            "drill_days": _("Overdue rehearsals are shown on the desk."),
        }


class QuietForm(forms.ModelForm[QuietPeriod]):
    """Until when a site is quiet, and why."""

    class Meta:
        model = QuietPeriod
        fields = ["ends_at", "reason"]
        widgets = {"ends_at": MOMENT}
        help_texts = {
            "ends_at": _("Within the next 60 days. What was held until then is sent."),
            "reason": _("For instance: the weir is being rebuilt; agreed with whom."),
        }
