"""What stands on record of an incident's visits at one moment, as digests that go into the seal of a step."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

from alerts.chain.sealing import canonical, digest, moment
from alerts.models import Incident, Verdict
from portal.audit.models import AuditEntry
from portal.audit.parts import PARTS, part_digest
from surveys.models import Visit, VisitScore
from surveys.submission.writing import flat_data
from surveys.visits.parts import laid_out, with_parts

Facts = dict[str, Any]
SEALED_PARTS = ("spots", "measurements", "counts", "every_score")
# How a step seals the trail of a visit: by digests of its parts, so that a name can be taken out.
FORM = 2
# Who was there is no measurement; a name that is taken off on request must not break a chain.
PEOPLE = frozenset({"recorder", "recorder_name", "partner", "partner_name"})


def facts_of(incident: Incident, visit_id: UUID | None) -> Facts:
    """Facts of the incident's low visits, and of the one that the step is about."""
    low = set(incident.visits.values_list("pk", flat=True))
    about = low | ({visit_id} if visit_id else set())
    return {
        "visits": [
            visit_facts(visit, entries) | {"is_low": visit.pk in low}
            for visit, entries in with_history(incident, about)
        ]
    }


def with_history(incident: Incident, numbers: Iterable[UUID]) -> list[tuple[Visit, list[AuditEntry]]]:
    """These visits of the incident's group, by number, each with its audit entries, oldest first."""
    visits = sealed_visits(incident, numbers)
    entries = entries_about(incident, visits)
    return [(each, entries[each.pk]) for each in visits]


def sealed_visits(incident: Incident, numbers: Iterable[UUID], known: Iterable[Visit] = ()) -> list[Visit]:
    """These visits of the incident's group, by number, with `SEALED_PARTS`; `known` ones are not read again."""
    wanted = set(numbers)
    found = [each for each in known if each.pk in wanted]
    missing = wanted - {each.pk for each in found}
    if missing:
        rows = Visit.objects.filter(group=incident.group_id, pk__in=missing)
        found += laid_out(with_parts(rows.select_related("verdict__trigger", "site"), *SEALED_PARTS))
    return sorted(found, key=lambda each: each.pk)


def entries_about(incident: Incident, visits: Iterable[Visit]) -> dict[UUID, list[AuditEntry]]:
    """The audit entries of the incident and of these visits with their verdicts, oldest first (one query)."""
    subjects = {incident.pk: incident.pk} | {each.pk: each.pk for each in visits}
    subjects |= {each.verdict.pk: each.pk for each in visits if has_verdict(each)}
    kinds = [model._meta.label_lower for model in (Incident, Visit, Verdict)]
    found = AuditEntry.objects.filter(
        group=incident.group_id, object_type__in=kinds, object_id__in=list(subjects)
    )
    by_subject: dict[UUID, list[AuditEntry]] = {each: [] for each in subjects.values()}
    for entry in found.order_by("at", "id"):
        by_subject[subjects[entry.object_id]].append(entry)
    return by_subject


def has_verdict(visit: Visit) -> bool:
    """Whether the visit has been judged."""
    return hasattr(visit, "verdict")


def visit_facts(visit: Visit, entries: list[AuditEntry]) -> Facts:
    """One visit: digest of what was counted and measured, scores in force, verdict, audit entries."""
    return {
        "visit": str(visit.pk),
        "data": digest(canonical(counted(visit))),
        "scores": scores_of(visit, current_only=True),
        "verdict": verdict_facts(visit),
        "history": {
            "entries": [str(each.pk) for each in entries],
            "digest": entries_digest(entries),
            "form": FORM,
        },
    }


def counted(visit: Visit) -> dict[str, Any]:
    """What was counted, measured and noted, by path as in the audit trail; without people."""
    return {path: value for path, value in flat_data(visit).items() if path not in PEOPLE}


def scores_of(visit: Visit, *, current_only: bool) -> list[list[str | None]]:
    """Index, version, value, low and high of each score, as text, in order."""
    rows = [each for each in visit.scores.all() if each.is_current or not current_only]
    return sorted(map(_score, rows), key=canonical)


def _score(row: VisitScore) -> list[str | None]:
    return [row.index, row.version, *(_figure(each) for each in (row.value, row.low, row.high))]


def _figure(value: float | None) -> str | None:
    # As text, since programs differ in how they write a number.
    return None if value is None else repr(float(value))


def verdict_facts(visit: Visit) -> Mapping[str, Any] | None:
    """The verdict and the trigger it stands on."""
    if not has_verdict(visit):
        return None
    verdict = visit.verdict
    trigger = verdict.trigger
    return {
        "outcome": verdict.outcome,
        "value": _figure(verdict.value),
        "index": trigger.index if trigger else None,
        "level": _figure(trigger.level) if trigger else None,
    }


def entries_digest(entries: Iterable[AuditEntry], form: int = FORM) -> str:
    """Digest over audit entries in the order given; form 1 is that of older steps, which seals the words."""
    entry = _entry if form == FORM else _entry_in_words
    return digest(canonical([entry(each) for each in entries]))


def _entry(entry: AuditEntry) -> list[Any]:
    parts = [part_digest(entry, each) for each in PARTS]
    return [str(entry.pk), moment(entry.at), entry.verb, str(entry.object_id), *parts]


def _entry_in_words(entry: AuditEntry) -> list[Any]:
    return [
        str(entry.pk),
        moment(entry.at),
        entry.actor_name,
        entry.verb,
        str(entry.object_id),
        entry.changes,
        entry.reason,
    ]
