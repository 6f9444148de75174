"""What an agency needs to see of a low visit, gathered once for the e-mail, the alert page and the incident."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.advice.words import odds_words
from alerts.evidence.found import FoundRow, found_rows
from alerts.judging.figures import figure, is_close, score_now, told_apart
from alerts.judging.records import SiteRecord, site_record
from alerts.judging.verdicts import reason_words
from alerts.models import Verdict
from alerts.queries import values_of, who_to_call
from alerts.river.shown import River, river_of
from portal.accounts.models import User
from scoring.baseline import Baseline, describe
from scoring.indices.methods import METHODS, Method
from surveys.measuring.quantities import QUANTITIES
from surveys.models import Finding, Site, Visit
from surveys.models.visits import Status
from surveys.places.sites import Place, place_of
from surveys.queries import HistoryPoint
from surveys.submission.placing import POSITION

Pairs = list[tuple[str, str]]


@dataclass(frozen=True)
class Evidence:
    """One visit against what its site normally holds. Figures are text in the index's own precision."""

    visit: Visit
    site: Site
    method: Method
    score: str
    possible: str
    trigger: str
    shortfall: str
    is_close: bool
    is_below: bool
    is_checked: bool
    set_aside: list[str]
    baseline: Baseline | None
    found: list[FoundRow]
    last_normal: HistoryPoint | None
    place: Place
    conditions: Pairs
    effort: str
    measurements: Pairs
    findings: list[str]
    verdict: Verdict
    odds: str
    recorded: str

    @cached_property
    def river(self) -> River:
        """The river about the visit, read when a page first shows it."""
        return river_of(self.visit, self.method, self.verdict)

    @cached_property
    def caller(self) -> User | None:
        """The one coordinator who may be called."""
        return who_to_call(self.visit.group)

    @property
    def window(self) -> tuple[date, date]:
        """The days in which it happened: from the last normal visit, where there is one, to this one."""
        start = self.last_normal.when if self.last_normal else self.visit.visited_on
        return start, self.visit.visited_on

    @property
    def missing(self) -> list[FoundRow]:
        """Taxa usual at the site and not found this time."""
        return [row for row in self.found if row.is_missing]


def evidence_of(visit: Visit, verdict: Verdict, record: SiteRecord | None = None) -> Evidence:
    """Gather it all; the verdict stands on a trigger (else ValueError: there is nothing to compare).

    `record` is the site's by the trigger's index, where the page has read it already.
    """
    if verdict.trigger is None or verdict.value is None:
        raise ValueError("A visit that was not held against a trigger gives no evidence.")
    method, level = METHODS[verdict.trigger.index], verdict.trigger.level
    score, trigger, shortfall = told_apart(verdict.value, level, method)
    record = record or site_record(visit.site, method.key)
    usual = record.baseline(before=visit.visited_on)
    return Evidence(
        visit=visit,
        site=visit.site,
        method=method,
        score=score,
        possible=_possible(visit, verdict.value, method),
        trigger=trigger,
        shortfall=shortfall,
        is_close=is_close(verdict.value, level, method),
        is_below=verdict.outcome == Verdict.Outcome.BELOW,
        is_checked=visit.status == Status.APPROVED,
        set_aside=reason_words(verdict.set_aside),
        baseline=describe(values_of(usual)),
        found=found_rows(visit, usual),
        last_normal=_last_normal(visit, record, level),
        place=place_of(visit.site),
        conditions=conditions_of(visit),
        effort=effort_of(visit),
        measurements=measurements_of(visit),
        # Where somebody's phone was is nobody's but the group's: the agency is told the site's place.
        findings=[_finding_words(each) for each in visit.findings.all() if each.field != POSITION],
        verdict=verdict,
        odds=odds_words(verdict.trigger.advice),
        recorded=recorded_words(visit, record),
    )


def _possible(visit: Visit, value: float, method: Method) -> str:
    score = score_now(visit, method.key)
    if score is None or score.low is None or score.high is None or score.low == score.high:
        return ""
    # The limits are those of the score in force: they say nothing of an earlier one that was tested.
    if score.value is None or not math.isclose(score.value, value, abs_tol=5e-9):
        return ""
    return _("%(low)s to %(high)s") % {"low": figure(score.low, method), "high": figure(score.high, method)}


def _finding_words(finding: Finding) -> str:
    """What a check of the portal asked, and what a coordinator has decided on it."""
    if not finding.decision:
        return finding.message
    decided = Finding.Decision(finding.decision).label
    return _("%(message)s Looked at by the group: %(decision)s.") % {
        "message": finding.message,
        "decision": decided,
    }


def _last_normal(visit: Visit, record: SiteRecord, level: float) -> HistoryPoint | None:
    """The latest earlier visit of standard effort that was not below this level: when the fall cannot yet
    have happened."""
    normal = [
        each
        for each in record.history
        if each.when < visit.visited_on and each.is_standard and each.value is not None and each.value >= level
    ]
    return max(normal, key=lambda each: each.when, default=None)


def conditions_of(visit: Visit) -> Pairs:
    """What the volunteers noted of water and weather, as label and words; what was not noted is left out."""
    noted = [
        (_("Signs of pollution"), visit.pollution_signs),
        (_("Water level"), visit.get_water_level_display()),
        (_("Water clarity"), visit.get_clarity_display()),
        (_("Weather"), visit.get_weather_display()),
        (_("Weather of the past week"), visit.get_weather_past_week_display()),
    ]
    return [(label, str(words)) for label, words in noted if words]


def effort_of(visit: Visit) -> str:
    """The kicking done against the plan, in one phrase."""
    spots = list(visit.spots.all())
    done = {
        "seconds": f"{float(sum(each.seconds for each in spots)):g}",
        "spots": len(spots),
        "planned": visit.site.planned_seconds,
        "planned_spots": visit.site.spots,
    }
    return (
        _("%(seconds)s s of kicking in %(spots)s spots (standard: %(planned)s s in %(planned_spots)s)") % done
    )


def recorded_words(visit: Visit, record: SiteRecord) -> str:
    """Who recorded, without a name: the agency learns how well they know the site."""
    if visit.recorder_id is None:
        return _("a volunteer of the group without an account")
    earlier = [each for each in record.history if each.when < visit.visited_on]
    visits = sum(visit.recorder_id in each.people for each in earlier)
    if not visits:
        return _("a volunteer of the group, for the first time at this site")
    words = ngettext(
        "a volunteer of the group, with %(visits)s earlier visit to this site",
        "a volunteer of the group, with %(visits)s earlier visits to this site",
        visits,
    )
    return words % {"visits": visits}


def measurements_of(visit: Visit) -> Pairs:
    """Readings as typed, with their units."""
    readings = visit.measurements.all()
    by_key = {
        each.quantity: f"{each.as_typed} {each.unit if each.unit != 'pH' else ''}".strip() for each in readings
    }
    return [(str(each.label), by_key[key]) for key, each in QUANTITIES.items() if key in by_key]
