"""Steps that the pages of the rota share."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from portal.accounts.access import require
from portal.accounts.middleware import PortalRequest
from portal.accounts.models import Group
from surveys.errors import NotPossible
from surveys.rota.models import Assignment, PlannedVisit
from surveys.rota.queries import planned_visits


def find_planned(group: Group, planned_id: UUID) -> PlannedVisit:
    """A planned visit of the group with its people, or 404."""
    return get_object_or_404(planned_visits(group), id=planned_id)


def find_place(request: PortalRequest, group: Group, place_id: UUID, action: str) -> Assignment:
    """A place on the group's rota, for whoever may do `action` with it."""
    rows = Assignment.objects.of_group(group).select_related("planned__site", "planned__group", "user")
    place = get_object_or_404(rows, id=place_id)
    require(request.person, action, place)
    return place


def attempt(request: HttpRequest, step: Callable[[], object], thanks: str) -> bool:
    """Take the step of a button and say that it is done, or why not."""
    try:
        step()
    except NotPossible as reason:
        messages.error(request, reason.message)
        return False
    messages.success(request, thanks)
    return True


def carried_out(form: forms.Form, step: Callable[[], object]) -> bool:
    """Take the step of a form that is valid; what is not possible is told at its field."""
    try:
        step()
    except NotPossible as reason:
        form.add_error(reason.field if reason.field in form.fields else None, reason.message)
        return False
    return True
