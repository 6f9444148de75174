"""Changing how a group goes out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from portal.audit.services import record_change
from surveys.models import OutingRules
from surveys.outings.rules import usual_rules


@transaction.atomic
def edit_outing_rules(*, person: Person, group: Group, fields: Mapping[str, Any]) -> OutingRules:
    """Change the checklist and the times; raises ValidationError with a message for each wrong field."""
    require(person, "outing.edit", group)
    # Two coordinators may write the first rules at once: they queue for the group's row.
    Group.objects.select_for_update(no_key=True).get(pk=group.pk)
    rules = OutingRules.objects.of_group(group).first() or usual_rules(group)
    changes = {name: [getattr(rules, name), value] for name, value in fields.items()}
    changes = {name: pair for name, pair in changes.items() if pair[0] != pair[1]}
    for name, (_before, after) in changes.items():
        setattr(rules, name, after)
    rules.full_clean(exclude={"id"}, validate_constraints=False)
    require_ascending(rules.again_minutes, rules.coordinators_minutes, rules.named_minutes)
    rules.save()
    if changes:
        record_change(actor=person, verb="outing_rules.changed", thing=rules, changes=changes)
    return rules


def require_ascending(again: int, coordinators: int, named: int) -> None:
    """Each further step comes later than the one before; raises ValidationError at its field."""
    if coordinators <= again:
        message = _("The coordinators are told later than the pair is reminded again.")
        raise ValidationError({"coordinators_minutes": message})
    if named <= coordinators:
        message = _("The named person is told later than the coordinators.")
        raise ValidationError({"named_minutes": message})
