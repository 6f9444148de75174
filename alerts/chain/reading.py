"""The chain as one reader may see it: who is named, the steps as a table, and as JSON with every seal."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from alerts.chain.course import Entry, course_of, shows_note
from alerts.chain.sealing import actor_values, salt_of, sealed_form
from alerts.models import Incident, IncidentEvent
from alerts.queries import who_to_call
from portal.accounts.access import Person
from portal.accounts.models import Membership, User


@dataclass(frozen=True)
class NameRule:
    """Whom a reader sees by name: a member everybody; others all but the people of the group (`unnamed`).

    `caller` is the coordinator whom the agency is to call.
    """

    for_member: bool
    unnamed: frozenset[UUID]
    caller: User | None = None

    def names(self, step: IncidentEvent) -> bool:
        """Whether the name of whoever took the step is shown."""
        return self.for_member or step.actor_id not in self.unnamed


@dataclass(frozen=True)
class SealedStep:
    """One step as the table of the chain shows it; `at` as it was hashed."""

    sequence: int | None
    at: str
    what: str
    seal: str


def name_rule(incident: Incident, person: Person | None) -> NameRule:
    """The rule for this reader; the coordinator whom the agency is to call is named to everybody."""
    members = set(Membership.objects.filter(group=incident.group_id).values_list("user_id", flat=True))
    caller = who_to_call(incident.group)
    for_member = person is not None and person.is_member(incident.group_id)
    return NameRule(for_member, frozenset(members - ({caller.pk} if caller else set())), caller)


def course_for(incident: Incident, names: NameRule, steps: Sequence[IncidentEvent]) -> list[Entry]:
    """The course, of which `steps` are all in order, with the people of the group named to its members only."""
    entries = course_of(incident, for_member=names.for_member, steps=steps)
    pairs = zip(steps, entries, strict=True)
    return [entry if names.names(step) else replace(entry, who=_("the group")) for step, entry in pairs]


def sealed_steps(steps: Iterable[IncidentEvent]) -> list[SealedStep]:
    """The steps with their seals, in order."""
    return [
        SealedStep(each.sequence, sealed_form(each)["at"], each.get_kind_display(), each.seal) for each in steps
    ]


def steps_json(incident: Incident, names: NameRule, steps: Sequence[IncidentEvent]) -> str:
    """The `steps` in order as JSON: each as it was sealed, its seal, what this reader may see of its words.

    `actor` (account and name) and `note` come with the salt of their digests, null where they are not shown
    or were taken out since.
    """
    whole = {
        "incident": incident.reference,
        "seal": "SHA-256(seal of the step before + canonical JSON of step); nothing stands before the first",
        "actor, note": "SHA-256(canonical JSON of [salt, values...]) stands in step",
        # A witness outside the portal for all of its trail: `verify_trail --head`.
        "trail": next((getattr(each, "trail", None) for each in steps), None),
        "steps": [_given(each, names) for each in steps],
    }
    return json.dumps(whole, indent=1, ensure_ascii=False)


def _given(step: IncidentEvent, names: NameRule) -> dict[str, Any]:
    actor = {"salt": salt_of(step, "actor"), "values": list(actor_values(step))}
    note = {"salt": salt_of(step, "note"), "values": [step.note]}
    shown = shows_note(step, for_member=names.for_member) and "note" not in step.erased
    return {
        "step": sealed_form(step),
        "seal": step.seal,
        "actor": actor if names.names(step) and "actor" not in step.erased else None,
        "note": note if shown else None,
    }
