"""The low visits of an incident with all that pages and papers show of them, read together."""

from __future__ import annotations

from collections.abc import Sequence

from alerts.evidence.of_visit import Evidence, evidence_of
from alerts.judging.records import SiteRecord, site_record
from surveys.models import Visit


def record_of(visits: Sequence[Visit]) -> SiteRecord | None:
    """The site's record by the index of the latest visit's trigger; None where that visit stands on none."""
    if not visits or not stands(visits[0]):
        return None
    trigger = visits[0].verdict.trigger
    return site_record(visits[0].site, trigger.index) if trigger else None


def stands(visit: Visit) -> bool:
    """Whether the visit was held against a trigger."""
    return visit.verdict.trigger is not None and visit.verdict.value is not None


def evidence_by(visit: Visit, record: SiteRecord | None) -> Evidence:
    """The evidence of a visit that stands; `record` is used where it is by the index of its trigger."""
    trigger = visit.verdict.trigger
    fits = record is not None and trigger is not None and trigger.index == record.index
    return evidence_of(visit, visit.verdict, record if fits else None)
