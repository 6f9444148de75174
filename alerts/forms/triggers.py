"""Forms about triggers and what is tested against them."""

from __future__ import annotations

import math
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from alerts.advice.levels import USUAL_WISH, YEAR_ROUND, Question, visits_per_year
from alerts.advice.words import SEASON_NAMES
from alerts.forms.widgets import DAY, LONG
from alerts.models import Trigger
from alerts.services.triggers import TRIGGER_INDICES
from surveys.lists.recording import reasons_of
from surveys.models import Site
from surveys.texts.told import label_lazy

INDEX_CHOICES = [(key, label_lazy(key)) for key in TRIGGER_INDICES]
MOST_FALLS = 4


def index_choices(site: Site) -> list[tuple[str, str]]:
    """The indices that a trigger may use and the site's recording list supports."""
    reasons = reasons_of(site.recording_list)
    return [(key, label) for key, label in INDEX_CHOICES if not reasons[key]]


class QuestionForm(forms.Form):
    """What the figures on the trigger page are about."""

    index = forms.ChoiceField(label=_("Index"), choices=INDEX_CHOICES)
    level = forms.FloatField(
        label=_("Level to try"), required=False, help_text=_("Left empty, the suggested level is tried.")
    )
    wanted = forms.FloatField(
        label=_("False alarms a year that you can bear"),
        required=False,
        initial=USUAL_WISH,
        help_text=_("0.5 means one every other year. The suggested level follows from it."),
    )
    season = forms.ChoiceField(
        label=_("Visits of"),
        required=False,
        choices=[(YEAR_ROUND, _("the whole year")), *SEASON_NAMES.items()],
        help_text=_("A season has fewer baseline visits, and the trigger holds all year."),
    )
    falls = forms.CharField(
        label=_("Falls to catch, in points"),
        required=False,
        max_length=60,
        help_text=_("For instance 10; 20. Left empty, a quarter and half of the usual score."),
    )

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.site = site
        self.fields["index"].choices = index_choices(site)  # type: ignore[attr-defined]

    def clean_falls(self) -> tuple[float, ...] | None:
        """The sizes, parted by semicolons or spaces."""
        words = self.cleaned_data["falls"].replace(";", " ").split()
        try:
            sizes = tuple(dict.fromkeys(float(word) for word in words))
        except ValueError as error:
            raise forms.ValidationError(_now("Write numbers, parted by a semicolon: 10; 20.")) from error
        if len(sizes) > MOST_FALLS or not all(math.isfinite(size) and size > 0 for size in sizes):
            raise forms.ValidationError(_now("Give at most four falls, each more than 0 points."))
        return sizes or None

    def clean(self) -> dict[str, Any]:
        """A wish is possible only below the number of visits that there are."""
        values = super().clean() or {}
        wanted, most = values.get("wanted"), visits_per_year(self.site, values.get("season", YEAR_ROUND))
        if wanted is not None and not 0 < wanted < most:
            words = _now("Write a number above 0 and below the %(visits)s visits a year that are planned.")
            self.add_error("wanted", words % {"visits": f"{most:g}"})
        return values

    def question(self) -> Question:
        """The question asked; call it on a form that is valid."""
        return Question(**self.cleaned_data)


class TriggerForm(forms.ModelForm[Trigger]):
    """A new trigger."""

    class Meta:
        model = Trigger
        fields = ["index", "level", "valid_from", "reason", "despite_provisional"]
        widgets = {
            "valid_from": DAY,
            "reason": LONG,
            "index": forms.Select(choices=INDEX_CHOICES),
        }
        help_texts = {
            "level": _(
                "Compared with the score before it is rounded: at a level of 4.89 a score of 4.8889, printed "
                "as 4.89, is below. Where rounding would hide such a difference, more decimals are shown."
            ),
            "valid_from": _("Today or later. Only a site's first trigger may lie in the past."),
            "reason": _(
                "For instance: agreed with the agency's contact after twelve visits; with whom, and when."
            ),
        }

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["valid_from"].initial = timezone.localdate
        self.fields["index"].widget.choices = index_choices(site)


class ReasonForm(forms.Form):
    """Why a visit is tested all the same."""

    reason = forms.CharField(
        label=_("Why the score can be compared all the same"), max_length=2000, widget=LONG
    )
