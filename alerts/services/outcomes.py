"""The group's own words for how an incident ended."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from alerts.models import GroupOutcome, Outcome
from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change


@transaction.atomic
def add_outcome(*, person: Person, group: Group, label: str, counts_as: str) -> GroupOutcome:
    """Add an outcome and say which standard one it counts as in reports.

    Raises ValidationError at the field concerned: no label, one that is there already, no standard outcome.
    """
    require(person, "group.edit", group)
    label = " ".join(label.split())
    if not label:
        raise ValidationError({"label": _("Write how you call it.")})
    if counts_as not in Outcome.values:
        raise ValidationError({"counts_as": _("Choose what it counts as.")})
    Group.objects.select_for_update(no_key=True).get(pk=group.pk)
    if GroupOutcome.objects.of_group(group).filter(label__iexact=label).exists():
        raise ValidationError({"label": _("This outcome is in the list already.")})
    outcome = GroupOutcome.objects.create(group=group, label=label, counts_as=counts_as)
    changes = {"label": [None, label], "counts_as": [None, counts_as]}
    record_change(actor=person, verb="outcome.added", thing=outcome, changes=changes)
    return outcome


@transaction.atomic
def offer_outcome(*, person: Person, outcome: GroupOutcome, is_active: bool) -> GroupOutcome:
    """Offer an outcome for choice, or retire it; incidents that ended with it keep it."""
    require(person, "group.edit", outcome)
    rows = GroupOutcome.objects.filter(group=outcome.group_id).select_for_update(no_key=True)
    outcome = rows.get(pk=outcome.pk)
    if outcome.is_active != is_active:
        outcome.is_active = is_active
        outcome.save(update_fields=["is_active"])
        changes = {"is_active": [not is_active, is_active]}
        record_change(actor=person, verb="outcome.changed", thing=outcome, changes=changes)
    return outcome
