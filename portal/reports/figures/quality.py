"""How the records were checked."""

from __future__ import annotations

from typing import Any

from portal.reports.figures.records import YearRecords
from surveys.models import Finding


def describe_quality(records: YearRecords) -> dict[str, Any]:
    """Approvals by somebody who took no part, findings and what became of them, corrections."""
    findings = [each for visit in records.approved for each in visit.findings.all()]
    decisions = [each.decision for each in findings]
    return {
        "approved": len(records.approved),
        "checked_by_another": sum(
            visit.reviewed_by_id not in visit.involved_user_ids for visit in records.approved
        ),
        "waiting": len(records.waiting),
        "findings": len(findings),
        "accepted": decisions.count(Finding.Decision.ACCEPTED),
        "mended": decisions.count(Finding.Decision.MENDED),
        "open": decisions.count(Finding.Decision.OPEN),
        "corrected": sum(bool(visit.corrected_by.all()) for visit in records.approved),
        "past_records": sum(visit.is_past_record for visit in records.made),
    }
