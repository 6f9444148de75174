"""Is an incident's course as it was written? Walks the chain and holds it against what stands on record now."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from alerts.chain.course import steps_of
from alerts.chain.facts import (
    PEOPLE,
    Facts,
    counted,
    entries_about,
    entries_digest,
    scores_of,
    sealed_visits,
    verdict_facts,
)
from alerts.chain.low_visits import low_visits
from alerts.chain.sealing import NO_SEAL, STEP_VERB, canonical, digest, plain, seal_of, sealed_form
from alerts.models import EventKind, Incident, IncidentEvent
from portal.audit.models import AuditEntry
from surveys.models import Visit

# Corrections keep what was there before and after; the recorded state is worked out backwards from them.
REVISIONS = ("visit.corrected", "visit.mended")
WATCHED = ("state", "outcome", "outcome_note", "agency_reference", "acknowledged_by")


@dataclass(frozen=True)
class Chain:
    """What the check has found; `broken` says in words what is wrong first, empty where nothing is.

    `broken_at` is the place of the broken step, None where no single step is concerned.
    """

    steps: int
    last_seal: str
    broken: str = ""
    broken_at: int | None = None

    @property
    def words(self) -> str:
        """The result as one sentence for the incident's page."""
        if self.broken:
            return self.broken
        if not self.steps:
            return _("There is no step yet.")
        told = {"steps": self.steps, "seal": self.last_seal[:12]}
        return _("Steps 1–%(steps)s are unbroken, last seal %(seal)s…") % told


@dataclass(frozen=True)
class Fault:
    """What is wrong, and at which step."""

    words: str
    sequence: int | None = None


def check_chain(
    incident: Incident, steps: Sequence[IncidentEvent] | None = None, low: Sequence[Visit] | None = None
) -> Chain:
    """Walk the chain of an incident and hold it against its audit rows, its visits and its own fields.

    `steps` are all of its steps in order and `low` its `low_visits`, where the page has read them already.
    """
    steps = steps_of(incident) if steps is None else steps
    low = low_visits(incident) if low is None else low
    last = steps[-1].seal if steps else NO_SEAL
    fault = next(_faults(incident, steps, low), None)
    if fault is None:
        return Chain(len(steps), last)
    return Chain(len(steps), last, fault.words, fault.sequence)


def _faults(incident: Incident, steps: Sequence[IncidentEvent], low: Sequence[Visit]) -> Iterator[Fault]:
    named = {UUID(each["visit"]): (step, each) for step in steps for each in step.facts.get("visits", ())}
    found = {each.pk: each for each in sealed_visits(incident, named, low)}
    entries = entries_about(incident, found.values())
    yield from _links(steps, _noted_seals(entries[incident.pk]))
    yield from _fields(incident, entries[incident.pk])
    for number, (step, facts) in sorted(named.items(), key=lambda item: item[1][0].sequence or 0):
        if number not in found:
            yield _fault(step, _("a visit that step %(place)s speaks of is gone"))
            continue
        yield from _visit(step, facts, found[number], entries[number])
    yield from _members(steps, {each.pk for each in low})


def _noted_seals(entries: Sequence[AuditEntry]) -> Mapping[int, str]:
    own = [each.changes for each in entries if each.verb == STEP_VERB]
    return {each["sequence"]: each["seal"] for each in own}


def _links(steps: Sequence[IncidentEvent], noted: Mapping[int, str]) -> Iterator[Fault]:
    seal = NO_SEAL
    for place, step in enumerate(steps, start=1):
        if step.sequence is None or not step.seal:
            when = date_format(step.at, "j F Y, H:i")
            yield Fault(_("The step of %(when)s carries no seal: it was slipped in.") % {"when": when})
            return
        if step.sequence != place:
            yield Fault(_("Step %(place)s is missing.") % {"place": place}, place)
            return
        if step.seal != seal_of(seal, sealed_form(step)):
            yield Fault(_("Step %(place)s was changed, or stands in another place.") % {"place": place}, place)
        if noted.get(place) != step.seal:
            words = _("Step %(place)s is not the one whose seal the audit trail keeps.")
            yield Fault(words % {"place": place}, place)
        seal = step.seal
    for place in sorted(noted):
        if place > len(steps):
            yield Fault(_("Step %(place)s is missing.") % {"place": place}, place)


def _fields(incident: Incident, entries: Sequence[AuditEntry]) -> Iterator[Fault]:
    """State, outcome and the other words that a service must have changed last."""
    for name in WATCHED:
        pairs = [each.changes[name] for each in entries if name in each.changes]
        now = plain(getattr(incident, name))
        if now != (_end_of(pairs) if pairs else ""):
            label = str(Incident._meta.get_field(name).verbose_name)  # type: ignore[union-attr]
            yield Fault(_("“%(field)s” is not what the audit trail says.") % {"field": label})


def _end_of(pairs: Sequence[Sequence[Any]]) -> Any:
    """Where a row of changes from old to new ends, whatever the clock said of their order."""
    balance = Counter(canonical(new) for _old, new in pairs)
    balance.subtract(canonical(old) for old, _new in pairs)
    ends = [new for _old, new in pairs if balance[canonical(new)] > 0]
    return ends[0] if ends else pairs[-1][1]


def _fault(step: IncidentEvent, words: str) -> Fault:
    told = words % {"place": step.sequence}
    return Fault(_("Since step %(place)s: %(what)s.") % {"place": step.sequence, "what": told}, step.sequence)


def _visit(step: IncidentEvent, facts: Facts, visit: Visit, entries: Sequence[AuditEntry]) -> Iterator[Fault]:
    told = {"day": date_format(visit.visited_on, "j F Y")}
    recorded = set(facts["history"]["entries"])
    first = [each for each in entries if str(each.pk) in recorded]
    newer = [each for each in entries if str(each.pk) not in recorded]
    by_number = {str(each.pk): each for each in first}
    in_order = [by_number[each] for each in facts["history"]["entries"] if each in by_number]
    if not _is_as_sealed(in_order, facts["history"]):
        yield _fault(step, _("the change history of the visit of %(day)s was altered") % told)
    if not _leads_back(counted(visit), newer, facts["data"]):
        words = _("what was counted or measured on %(day)s was changed without a correction")
        yield _fault(step, words % told)
    kept = Counter(map(canonical, scores_of(visit, current_only=False)))
    if Counter(map(canonical, facts["scores"])) - kept:
        yield _fault(step, _("a score of the visit of %(day)s was changed or deleted") % told)
    if verdict_facts(visit) != facts["verdict"] and not newer:
        yield _fault(step, _("the verdict on the visit of %(day)s was changed") % told)


def _is_as_sealed(entries: Sequence[AuditEntry], history: Mapping[str, Any]) -> bool:
    """Whether the entries are those that were sealed.

    Steps of before sealed the words themselves: once a name was taken out, only the trail's own chain tells.
    """
    form = history.get("form", 1)
    if form == 1 and any(each.erased for each in entries):
        return len(entries) == len(history["entries"])
    return bool(entries_digest(entries, form) == history["digest"])


def _leads_back(now: dict[str, Any], newer: Sequence[AuditEntry], recorded: str) -> bool:
    """Whether the data, with all corrections since taken back, are those recorded."""
    then = dict(now)
    for entry in reversed([each for each in newer if each.verb in REVISIONS]):
        changed = {path: pair for path, pair in entry.changes.items() if path not in PEOPLE}
        for path, (old, new) in changed.items():
            if then.pop(path, None) != new:
                return False
            if old is not None:
                then[path] = old
    return digest(canonical(then)) == recorded


def _members(steps: Sequence[IncidentEvent], now: set[UUID]) -> Iterator[Fault]:
    """The low visits of the incident are those of its last step; a step that lifts one names it still."""
    if not steps or "visits" not in steps[-1].facts:
        return
    last = steps[-1]
    recorded = {UUID(each["visit"]) for each in last.facts["visits"] if each["is_low"]}
    lifted = {last.visit_id} if last.kind == EventKind.LIFTED else set()
    if now - lifted != recorded - lifted:
        yield _fault(last, _("a visit was added to the incident or taken from it"))
