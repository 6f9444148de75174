"""The small forms of checking and finding visits."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django import forms
from django.db.models.functions import ExtractYear
from django.utils.translation import gettext_lazy as _

from portal.accounts.models import Group
from surveys.models import Finding, Site, Visit
from surveys.models.visits import Status


class ApproveForm(forms.Form):
    """The one reason for findings that were not decided one by one."""

    accept_findings_reason = forms.CharField(
        label=_("Why all open findings are right as recorded"),
        help_text=_("Or decide them one by one below, and leave this empty."),
        max_length=500,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


class ReturnForm(forms.Form):
    """What the recorder should look at again."""

    message = forms.CharField(
        label=_("Message to the recorder"),
        widget=forms.Textarea(attrs={"rows": "3"}),
        help_text=_("Say what to look at again. It goes by e-mail and stays with the visit."),
        max_length=2000,
    )


class ReasonForm(forms.Form):
    """Why a coordinator changes what others recorded."""

    reason = forms.CharField(
        label=_("Why you correct it"),
        widget=forms.Textarea(attrs={"rows": "2"}),
        help_text=_("For example: checked the specimen, asked the recorder, photo shows another family."),
        max_length=2000,
    )


class DecisionForm(forms.Form):
    """Why a finding is right as recorded; one that is not gets mended by a correction."""

    reason = forms.CharField(
        label=_("Reason"), max_length=500, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )


def prefix_of(finding: Finding) -> str:
    """What the names of a finding's form start with; one page holds many."""
    return f"finding-{finding.pk}"


def decision_forms(visit: Visit, posted: forms.Form | None = None) -> list[tuple[Finding, forms.Form]]:
    """Each finding of the visit with its form; one that was posted with mistakes stands in its place."""
    forms_of: list[tuple[Finding, forms.Form]] = []
    for finding in visit.findings.all():
        prefix = prefix_of(finding)
        is_posted = posted is not None and posted.prefix == prefix
        forms_of.append((finding, posted if posted and is_posted else DecisionForm(prefix=prefix)))
    return forms_of


class VisitFilter(forms.Form):
    """Which visits of the group to list; a choice that does not exist chooses nothing."""

    site = forms.ModelChoiceField(
        label=_("Site"), queryset=Site.objects.none(), required=False, empty_label=_("all sites")
    )
    year = forms.TypedChoiceField(label=_("Year"), coerce=int, required=False, empty_value=None)
    status = forms.ChoiceField(
        label=_("Status"),
        required=False,
        choices=[("", _("any status")), *Status.choices, ("not_made", _("not made"))],
    )

    def __init__(self, *args: Any, group: Group, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["site"].queryset = Site.objects.of_group(group)  # type: ignore[attr-defined]
        years = Visit.objects.of_group(group).annotate(year=ExtractYear("visited_on")).order_by("-year")
        found = years.values_list("year", flat=True).distinct()
        choices = [("", _("all years")), *((str(year), str(year)) for year in found)]
        self.fields["year"].choices = choices  # type: ignore[attr-defined]

    def chosen(self) -> dict[str, Any]:
        """The valid choices as lookups of a visit."""
        self.is_valid()
        wanted = {name: value for name, value in self.cleaned_data.items() if value}
        status = wanted.pop("status", "")
        lookups = {"site": wanted.get("site"), "visited_on__year": wanted.get("year")}
        lookups |= {"was_made": False} if status == "not_made" else {"status": status or None}
        return {lookup: value for lookup, value in lookups.items() if value is not None}

    def query(self) -> str:
        """The choices as part of an address, for the links to other pages."""
        return urlencode({name: self.data[name] for name in self.fields if self.data.get(name)})
