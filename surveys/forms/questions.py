"""The forms of a question about a visit and its answer."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from surveys.forms.review import NONE_OF_ITS_OWN


class QuestionForm(forms.Form):
    """What a reviewer would like to know."""

    own_fields = NONE_OF_ITS_OWN
    question = forms.CharField(
        label=_("Question to the recorder"),
        widget=forms.Textarea(attrs={"rows": "2"}),
        help_text=_("It goes by e-mail. The visit goes on waiting, and the answer appears here."),
        max_length=2000,
    )


class AnswerForm(forms.Form):
    """What the recorder says to it."""

    answer = forms.CharField(
        label=_("Your answer"), widget=forms.Textarea(attrs={"rows": "4"}), max_length=2000
    )
