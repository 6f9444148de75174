"""Choosing visits by their verdicts, in the list, in exports and by program."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from alerts.models import Verdict
from surveys.forms.filtering import FurtherChoice

BY_VERDICT = FurtherChoice(_("Verdict"), tuple(Verdict.Outcome.choices), "verdict__outcome")
