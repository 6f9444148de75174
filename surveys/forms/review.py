"""The small forms of checking and finding visits."""

from __future__ import annotations

from contextlib import suppress
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from surveys.models import Finding, Visit

# Of a form whose fields look the same to everybody, so that they are drawn once.
NONE_OF_ITS_OWN: frozenset[str] = frozenset()


class ApproveForm(forms.Form):
    """The one reason for findings that were not decided one by one."""

    own_fields = NONE_OF_ITS_OWN
    accept_findings_reason = forms.CharField(
        label=_("Why all open findings are right as recorded"),
        help_text=_("Or decide them one by one below, and leave this empty."),
        max_length=500,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    # Written into the page by its template, anew each time that it is shown.
    revision = forms.IntegerField(required=False, widget=forms.HiddenInput)


class ReturnForm(forms.Form):
    """What the recorder should look at again."""

    own_fields = NONE_OF_ITS_OWN
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


def shown_revision(posted: QueryDict) -> int | None:
    """The revision that the form of one visit showed; None where none was sent, or no number."""
    with suppress(ValidationError):
        return forms.IntegerField(required=False).clean(posted.get("revision"))  # type: ignore[no-any-return]
    return None


def shown_revisions(posted: QueryDict) -> dict[UUID, int | None]:
    """The visits that a page of several sent, each with the revision that it showed ("number:revision").

    What is no number was not sent by our page and names nothing.
    """
    number, revision = forms.UUIDField(required=False), forms.IntegerField(required=False)
    found: dict[UUID, int | None] = {}
    for each in posted.getlist("visit"):
        named, _colon, shown = each.partition(":")
        with suppress(ValidationError):
            visit_id = number.to_python(named)
            found |= {visit_id: revision.to_python(shown)} if visit_id else {}
    return found


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
