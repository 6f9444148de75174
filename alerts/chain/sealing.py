"""The hash chain of an incident's steps, as pure functions: each seal covers the one before and its own step.

    seal = SHA-256(seal of the step before + canonical JSON of the step), the first one over no seal

Names and notes stand in the step as digests with a salt, so that whoever may not see a name can still recompute
every seal, and whoever may see it can hold it against its digest. No models here: migrations use it as well.
"""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime
from typing import Any, Protocol
from uuid import UUID

# What stands before the first step.
NO_SEAL = ""
# The audit row that keeps each seal, so that a step taken away leaves a trace nobody can remove.
STEP_VERB = "incident.step"


class Step(Protocol):
    """What of a row is sealed; an IncidentEvent, of today or as a migration knows it."""

    id: UUID
    incident_id: UUID
    sequence: int | None
    at: datetime
    kind: str
    actor_id: Any
    actor_name: str
    contact_id: Any
    visit_id: Any
    note: str
    facts: Any


def canonical(value: Any) -> str:
    """JSON that is the same for everybody: keys in order, no spaces, letters as they are."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def digest(text: str) -> str:
    """SHA-256 of the text in UTF-8, as 64 hexadecimal digits."""
    return hashlib.sha256(text.encode()).hexdigest()


def moment(at: datetime) -> str:
    """A time in UTC to the microsecond: "2030-01-31T09:05:00.000000Z"."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def salt_of(step: Step, part: str) -> str:
    """The salt of a part ("actor", "note"), from the row's own number, which nobody outside the group sees."""
    return digest(f"{step.id}:{part}")


def hidden(salt: str, *values: str) -> str:
    """The digest that stands in the step for values that not everybody may read."""
    return digest(canonical([salt, *values]))


def actor_values(step: Step) -> tuple[str, str]:
    """Who took the step: the account's number, empty for none, and the name."""
    return _text(step.actor_id), step.actor_name


def sealed_form(step: Step) -> dict[str, Any]:
    """The step as it is hashed."""
    return {
        "incident": str(step.incident_id),
        "sequence": step.sequence,
        "at": moment(step.at),
        "kind": str(step.kind),
        "actor": _hidden_part(step, "actor", *actor_values(step)),
        "contact": _text(step.contact_id),
        "visit": _text(step.visit_id),
        "note": _hidden_part(step, "note", step.note),
        "facts": step.facts,
    }


def _hidden_part(step: Step, part: str, *values: str) -> str:
    # Of what was taken out the digest stays; a migration's rows know of no such thing.
    erased: dict[str, str] = getattr(step, "erased", {})
    return erased.get(part) or hidden(salt_of(step, part), *values)


def seal_of(previous: str, form: dict[str, Any]) -> str:
    """The seal of a step in its sealed form, after the seal of the step before."""
    return digest(previous + canonical(form))


def _text(number: Any) -> str:
    return str(number) if number else ""


def plain(value: Any) -> Any:
    """A field's value as the audit trail keeps it."""
    return value if isinstance(value, int | None) else str(value)
