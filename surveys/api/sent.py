"""Reading a visit that was sent: as JSON, or as the visit form's own fields."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.http import QueryDict
from django.utils.translation import gettext as _
from rest_framework.exceptions import ValidationError

from portal.accounts.models import Group
from surveys.forms import data_from_post, read_entry
from surveys.models import Site
from surveys.services.saving import all_problems
from surveys.submission import InvalidSubmission, Problem, Submission, parse_submission


def submission_sent(group: Group, data: Any, number: UUID) -> Submission:
    """What was sent, under the number in the address and for a site of the group in it.

    Raises InvalidSubmission with all that is wrong, ValidationError where it is no visit at all.
    """
    try:
        submission = _from_form(data, number) if isinstance(data, QueryDict) else _from_json(data, number)
    except InvalidSubmission as refusal:
        site = _site(group, refusal.readable.site) if refusal.readable else None
        raise InvalidSubmission(all_problems(refusal, site) if site else refusal.problems) from refusal
    # Whoever belongs to two groups could otherwise submit to one under the address of the other.
    if _site(group, submission.site) is None:
        raise unknown_site()
    return submission


def unknown_site() -> InvalidSubmission:
    """The refusal of a site that is not the group's."""
    return InvalidSubmission([Problem("site", _("Choose a site of this group."), "unknown_site")])


def _site(group: Group, number: UUID) -> Site | None:
    return Site.objects.of_group(group).filter(id=number).first()


def _from_json(data: Any, number: UUID) -> Submission:
    if not isinstance(data, Mapping):
        raise ValidationError({"request": [_("Send one visit as a JSON object.")]})
    if str(data.get("id", number)) != str(number):
        message = _("The number in the visit is not the one in the address.")
        raise InvalidSubmission([Problem("id", message, "unreadable")])
    return parse_submission({**data, "id": str(number)})


def _from_form(post: QueryDict, number: UUID) -> Submission:
    try:
        site = UUID(post.get("site", ""))
    except ValueError:
        raise unknown_site() from None
    typed = data_from_post(post) | {"recording_list": post.get("recording_list", "")}
    return read_entry(typed, number=number, site=site)
