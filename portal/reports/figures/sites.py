"""A site's year: visits and scores against its trigger, taxa by season."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import timedelta
from typing import Any

from django.utils import timezone

from alerts.judging.verdicts import reason_words
from alerts.models import Incident, Trigger, Verdict
from portal.charts import TriggerLine
from portal.charts.points import without_seams
from portal.reports.figures.change import describe_change, years_of
from portal.reports.figures.earlier import NO_SCORE, EarlierVisit
from portal.reports.figures.records import USUAL_INDEX, YearRecords
from portal.reports.figures.taxa import taxa_by_quarter
from portal.reports.figures.totals import planned_visits
from scoring.indices import METHODS
from surveys.comparing.changes import Dated
from surveys.exporting.darwin.dataset import Dataset
from surveys.models import Site, Visit, VisitScore
from surveys.texts.told import told
from surveys.visits.effort import effort_problems


def describe_sites(records: YearRecords) -> list[dict[str, Any]]:
    """Each site of the report, in the order of its river and code."""
    return [describe_site(site, records) for site in records.sites]


def describe_site(site: Site, records: YearRecords) -> dict[str, Any]:
    """One site: where it is, what was planned and done, every visit with its verdict, the chart's points."""
    visits = [visit for visit in records.visits if visit.site_id == site.pk]
    made = [visit for visit in records.made if visit.site_id == site.pk]
    triggers = [each for each in records.triggers if each.site_id == site.pk]
    columns = columns_shown(site, made, records)
    index = _index_in_use(triggers, columns, records)
    earlier = records.earlier.get(site.pk, [])
    points = [*(_earlier_point(each, index) for each in earlier), *(_point(visit, index) for visit in made)]
    return {
        **_place(site, records),
        **_visits_done(site, visits, records),
        **_verdict_counts(made),
        "score_columns": columns,
        "index": index,
        "index_name": told(METHODS[index].name),
        "triggers": trigger_periods(triggers, index, records),
        "visits": [_describe_visit(visit, index) for visit in made],
        "points": points,
        "years": years_of(points),
        "change": describe_change(site, index, _sound_scores(site, earlier, made, index), records.year),
        "incidents": [_incident(each) for each in records.incidents if each.site_id == site.pk],
        "taxa": taxa_by_quarter(made),
    }


def _place(site: Site, records: YearRecords) -> dict[str, Any]:
    """Where the site is, no more exactly than the group lets its archive say."""
    place = Dataset(records.group, records.terms, "").place_of(site)
    return {
        "id": str(site.pk),
        "code": site.code,
        "name": site.name,
        "river": site.river,
        "latitude": float(place.latitude),
        "longitude": float(place.longitude),
        "is_rounded": bool(records.terms.blur),
        "downstream": site.downstream.code if site.downstream else "",
        "standard_effort": [site.spots, site.kicks_per_spot, site.seconds_per_kick],
    }


def _visits_done(site: Site, visits: Sequence[Visit], records: YearRecords) -> dict[str, Any]:
    approved = [visit for visit in visits if visit in records.approved]
    failed = [visit for visit in approved if not visit.was_made]
    planned = planned_visits(site, records.first_day, records.last_day)
    return {
        "planned": planned,
        "made": len(approved) - len(failed),
        "not_made": [_not_made(visit) for visit in failed],
        "waiting": len(visits) - len(approved),
        "no_record": max(0, planned - len(visits)),
    }


def _not_made(visit: Visit) -> dict[str, str]:
    return {"on": visit.visited_on.isoformat(), "reason": visit.public_reason}


def _verdict_counts(made: Iterable[Visit]) -> dict[str, int]:
    outcomes = [_outcome(visit) for visit in made]
    return {name: outcomes.count(name) for name in ("below", "not_below", "not_tested")}


def columns_shown(site: Site, made: Iterable[Visit], records: YearRecords) -> list[str]:
    """The indices of the site's table: what its visits' lists lead with, else its own list."""
    lists = {visit.recording_list_id for visit in made} or {site.recording_list_id}
    shown = {index for each in lists for index in records.leading[each]}
    return [index for index in METHODS if index in shown]


def _index_in_use(triggers: Sequence[Trigger], columns: Sequence[str], records: YearRecords) -> str:
    begun = [each for each in triggers if each.valid_from <= records.last_day]
    if begun:
        return begun[-1].index
    return USUAL_INDEX if USUAL_INDEX in columns else next(iter(columns), USUAL_INDEX)


def trigger_periods(triggers: Sequence[Trigger], index: str, records: YearRecords) -> list[dict[str, Any]]:
    """Levels of `index` with the days each was in force; the last has no end. Expects the oldest first.

    A trigger that was set again at its level is one period.
    """
    begun = [each for each in triggers if each.valid_from <= records.last_day]
    ends = [after.valid_from - timedelta(days=1) for after in begun[1:]]
    periods = zip(begun, [*ends, None], strict=False)
    lines = [
        TriggerLine(each.level, each.valid_from, end)
        for each, end in periods
        # Two set for the same day: the later one ruled from the start.
        if each.index == index and (end is None or end >= each.valid_from)
    ]
    return [
        {
            "level": each.level,
            "from": each.valid_from.isoformat(),
            "to": each.valid_to.isoformat() if each.valid_to else None,
        }
        for each in without_seams(lines)
    ]


def _verdict(visit: Visit) -> Verdict | None:
    return getattr(visit, "verdict", None)


def _outcome(visit: Visit) -> str:
    verdict = _verdict(visit)
    return verdict.outcome if verdict else Verdict.Outcome.NOT_TESTED.value


def _scores(visit: Visit) -> dict[str, VisitScore]:
    return {score.index: score for score in visit.current_scores}  # type: ignore[attr-defined]


def _describe_visit(visit: Visit, index: str) -> dict[str, Any]:
    verdict, scores = _verdict(visit), _scores(visit)
    shown = scores.get(index)
    return {
        "on": visit.visited_on.isoformat(),
        "scores": {name: score.value for name, score in scores.items()},
        "why_none": shown.why_none if shown else "",
        "left_out": shown.left_out if shown else [],
        "trigger": verdict.trigger.level if verdict and verdict.trigger else None,
        "tested_value": verdict.value if verdict else None,
        "outcome": _outcome(visit),
        "reasons": reason_words(verdict.reasons) if verdict else [],
        "set_aside": reason_words(verdict.set_aside) if verdict else [],
        "is_past_record": visit.is_past_record,
    }


def _point(visit: Visit, index: str) -> dict[str, Any]:
    score = _scores(visit).get(index)
    return {
        "on": visit.visited_on.isoformat(),
        "value": score.value if score else None,
        "low": score.low if score else None,
        "high": score.high if score else None,
        "outcome": _outcome(visit),
        "is_standard": not effort_problems(visit, visit.site),
    }


def _earlier_point(visit: EarlierVisit, index: str) -> dict[str, Any]:
    return {
        "on": visit.on.isoformat(),
        **visit.scores.get(index, NO_SCORE)._asdict(),
        "outcome": visit.outcome,
        "is_standard": visit.is_standard,
    }


def _sound_scores(site: Site, earlier: Iterable[EarlierVisit], made: Iterable[Visit], index: str) -> Dated:
    """Day and score of the visits that can be compared with each other: standard effort and a score."""
    before = [(each.on, each.scores.get(index, NO_SCORE).value) for each in earlier if each.is_standard]
    now = [(each.visited_on, _value(each, index)) for each in made if not effort_problems(each, site)]
    return [(day, value) for day, value in (*before, *now) if value is not None]


def _value(visit: Visit, index: str) -> float | None:
    score = _scores(visit).get(index)
    return score.value if score else None


def _incident(incident: Incident) -> dict[str, Any]:
    return {
        "reference": incident.reference,
        "opened_at": timezone.localtime(incident.opened_at).isoformat(),
        "state": incident.get_state_display(),
        "outcome": incident.get_outcome_display() if incident.outcome else "",
    }
