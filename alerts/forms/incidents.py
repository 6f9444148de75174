"""Forms about the course of an incident: noted, looked into, passed on, ended."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django import forms
from django.utils.translation import gettext_lazy as _

from alerts.forms.widgets import LONG
from alerts.models import GroupOutcome, Outcome
from portal.accounts.models import Group

# Marks the group's own outcomes among the choices.
OWN = "own:"


class NoteForm(forms.Form):
    """What is known now."""

    note = forms.CharField(label=_("Note"), required=False, max_length=4000, widget=LONG)
    reference = forms.CharField(label=_("The agency's own reference"), required=False, max_length=80)


class InvestigateForm(forms.Form):
    """That the agency is looking into it, and what it does first."""

    note = forms.CharField(
        label=_("What is being done, if you like"), required=False, max_length=4000, widget=LONG
    )


class ForwardForm(forms.Form):
    """To whom an alert is passed on."""

    to_name = forms.CharField(label=_("Name of the colleague"), max_length=120)
    to_email = forms.EmailField(
        label=_("Their e-mail address"),
        max_length=254,
        help_text=_("They get a link of their own. The group sees to whom the alert was passed on."),
    )


def outcome_choices(group: Group, first: Any) -> list[tuple[Any, Any]]:
    """What both forms that end an incident offer: the group's own words, then the standard outcomes."""
    own = GroupOutcome.objects.of_group(group).filter(is_active=True)
    named = [(f"{OWN}{each.id}", each.label) for each in own]
    standard = list(Outcome.choices)
    return (
        [("", first), (_("The group's own"), named), (_("Standard"), standard)]
        if named
        else [("", first), *standard]
    )


class EndForm(forms.Form):
    """Reads the outcome chosen as a standard one, with the group's own words beside it where it has some."""

    group: Group

    def clean(self) -> dict[str, Any]:
        values = super().clean() or {}
        chosen = str(values.get("outcome") or "")
        values["own_outcome"] = None
        if chosen.startswith(OWN):
            # The field has let through only what it offers.
            own = GroupOutcome.objects.of_group(self.group).get(pk=UUID(chosen.removeprefix(OWN)))
            values["own_outcome"], values["outcome"] = own, own.counts_as
        return values


class CloseForm(EndForm):
    """The end of an incident."""

    outcome = forms.ChoiceField(label=_("Outcome"))
    note = forms.CharField(label=_("What was found"), required=False, max_length=4000, widget=LONG)
    reference = forms.CharField(label=_("The agency's own reference"), required=False, max_length=80)

    def __init__(self, *args: Any, group: Group, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.group = group
        choice = self.fields["outcome"]
        assert isinstance(choice, forms.ChoiceField)
        choice.choices = outcome_choices(group, _("Choose one"))


class OutcomeForm(EndForm):
    """What a contact writes on the page behind the link: a note, or the end."""

    note = forms.CharField(label=_("What was found or done"), required=False, max_length=4000, widget=LONG)
    reference = forms.CharField(label=_("Your own reference"), required=False, max_length=80)
    outcome = forms.ChoiceField(
        label=_("Outcome"), required=False, help_text=_("Choosing an outcome closes the incident.")
    )

    def __init__(self, *args: Any, group: Group, may_close: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.group = group
        choice = self.fields["outcome"]
        assert isinstance(choice, forms.ChoiceField)
        choice.choices = outcome_choices(group, _("still open"))
        if not may_close:
            del self.fields["outcome"]


class OwnOutcomeForm(forms.Form):
    """An outcome in the group's own words."""

    label = forms.CharField(label=_("Outcome, in your own words"), max_length=120)
    counts_as = forms.ChoiceField(
        label=_("Counts as"),
        choices=[("", _("Choose one")), *Outcome.choices],
        help_text=_("Reports add incidents up by this."),
    )
