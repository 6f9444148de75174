"""How the records were checked, how well people agree, and how they were trained."""

from __future__ import annotations

from collections import defaultdict
from typing import Any
from uuid import UUID

from portal.reports.figures.records import YearRecords
from surveys.comparing.agreements import score_medians, year_rows
from surveys.models import Finding
from surveys.people.models import Training
from surveys.texts.told import told


def describe_quality(records: YearRecords) -> dict[str, Any]:
    """Approvals by somebody who took no part, findings and what became of them, duplicates, trainings."""
    return {**_checking(records), "agreement": _agreement(records), "trainings": _trainings(records)}


def _checking(records: YearRecords) -> dict[str, int]:
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


def _agreement(records: YearRecords) -> dict[str, Any]:
    """Visits made twice at one site and day: medians of the measures with their limits, and of the scores."""
    return {
        "pairs": len(records.pairs),
        "measures": [
            {
                "label": str(row.label),
                "median": row.median,
                "accepted_percent": row.accepted_percent,
                "limit": row.threshold.limit,
                "at_least": row.threshold.at_least,
                "source": told(row.threshold.source),
            }
            for row in year_rows(records.pairs)
        ],
        "scores": [{"index": method.key, "median": value} for method, value in score_medians(records.pairs)],
    }


def _trainings(records: YearRecords) -> list[dict[str, Any]]:
    """Each kind of training: people trained in the year, and people whose training was in force at its end."""
    by_kind: dict[UUID, list[Training]] = defaultdict(list)
    for each in records.trainings:
        by_kind[each.kind_id].append(each)
    rows = [_kind(found, records) for found in by_kind.values()]
    return sorted((row for row in rows if row["given"] or row["in_force"]), key=lambda row: row["kind"])


def _kind(trainings: list[Training], records: YearRecords) -> dict[str, Any]:
    day = records.last_day
    given = {each.membership_id for each in trainings if each.trained_on.year == records.year}
    in_force = {each.membership_id for each in trainings if not each.valid_until or each.valid_until >= day}
    return {"kind": trainings[0].kind.name, "given": len(given), "in_force": len(in_force)}
