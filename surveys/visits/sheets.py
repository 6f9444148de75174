"""A saved visit laid out for reading: each value with its label, and findings beside the field they concern."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import time
from decimal import Decimal
from functools import lru_cache
from typing import Protocol

from django.db.models import TextChoices
from django.template.defaultfilters import floatformat
from django.utils.formats import date_format, get_format, number_format, time_format
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from scoring.indices import METHODS
from surveys.lists.recording import leading_indices, reasons_of_lists
from surveys.measuring.quantities import QUANTITIES
from surveys.models import Finding, Measurement, SpotEffort, TaxonCount, TimedKick, Visit, VisitScore
from surveys.models.samples import FlowType
from surveys.models.visits import Clarity, PositionSource, WaterLevel, Weather
from surveys.submission.numbers import plain_text
from surveys.submission.placing import POSITION, position_text
from surveys.submission.writing import position_of
from surveys.texts.told import told
from surveys.visits.effort import is_near
from surveys.visits.positions import distance_words, standing


@dataclass(frozen=True)
class Line:
    """One field of a visit as it is read; `is_absent` marks a taxon looked for and not found.

    `note` says in a few words how the value came about.
    """

    label: str
    value: str
    findings: tuple[Finding, ...] = ()
    is_absent: bool = False
    note: str = ""


class Counted(Protocol):
    """A line of the tray: a number, a range of numbers, or neither where the taxon was only seen."""

    @property
    def taxon(self) -> str: ...
    @property
    def count(self) -> int | None: ...
    @property
    def low(self) -> int | None: ...
    @property
    def high(self) -> int | None: ...


@dataclass(frozen=True)
class SpotLine:
    """What was done at one spot, each part with its findings; `timed` tells each kick that a phone timed."""

    number: int
    flow_type: Line
    kicks: Line
    seconds: Line
    depth: Line
    timed: str = ""


@dataclass(frozen=True)
class ScoreLine:
    """One index: its value, the lowest and highest that fit the record (else blank), and why not.

    All numbers are as printed; `left_out` names what the index does not score.
    """

    index: str
    name: str
    title: str
    value: str
    low: str
    high: str
    why_none: str
    left_out: tuple[str, ...]
    version: str


class VisitSheet:
    """All parts of one visit. Its related rows should be prefetched: each is read once or more.

    `with_position` is for readers who may see where it was made.
    """

    def __init__(self, visit: Visit, *, with_position: bool = False) -> None:
        self._findings: dict[str, list[Finding]] = defaultdict(list)
        for finding in visit.findings.all():
            if with_position or finding.field != POSITION:
                self._findings[finding.field].append(finding)
        self._position_words = position_words(visit) if with_position else ""
        self._shown: set[str] = set()
        spots = list(visit.spots.all())
        planned = Decimal(visit.site.seconds_per_kick)
        self.people = self._people(visit)
        self.conditions = self._conditions(visit)
        self.spots = [self._spot(spot, planned) for spot in spots]
        self.seconds = plain_text(sum((spot.seconds for spot in spots), Decimal(0)))
        self.measurements = [self._measurement(each) for each in visit.measurements.all()]
        self.counts = [self._count(each) for each in visit.counts.all()]
        self.general_findings = [
            finding
            for field, findings in self._findings.items()
            for finding in findings
            if field not in self._shown
        ]

    @property
    def found(self) -> list[Line]:
        """Taxa that were found."""
        return [line for line in self.counts if not line.is_absent]

    @property
    def absent(self) -> list[Line]:
        """Taxa that were looked for and not found."""
        return [line for line in self.counts if line.is_absent]

    def _line(self, label: str, value: str, *fields: str, is_absent: bool = False, note: str = "") -> Line:
        self._shown.update(fields)
        findings = tuple(each for field in fields for each in self._findings.get(field, ()))
        return Line(label, value, findings, is_absent, note)

    def _people(self, visit: Visit) -> list[Line]:
        hours = " – ".join(filter(None, (_clock(visit.started_at), _clock(visit.ended_at))))
        recorder = visit.recorder.name if visit.recorder else visit.recorder_name
        partner = visit.partner.name if visit.partner else visit.partner_name
        lines = [
            self._line(_("Date"), date_format(visit.visited_on, "j F Y"), "visited_on"),
            self._line(_("Time"), hours, "started_at", "ended_at"),
            self._line(_("Recorder"), recorder or _("not known"), "recorder"),
            self._line(_("Partner"), partner or _("nobody noted"), "partner", "partner_name"),
            self._line(_("Checklist"), _checklist(visit), "checklist_done", "checklist_at"),
            self._line(_("Kit"), visit.kit.name if visit.kit else "", "kit"),
            self._line(_("Where the sample was taken"), self._position_words, "position"),
        ]
        return [line for line in lines if line.value or line.findings]

    def _conditions(self, visit: Visit) -> list[Line]:
        lines = [
            self._line(_("Water level"), word_of(WaterLevel, visit.water_level), "water_level"),
            self._line(_("Clarity of the water"), word_of(Clarity, visit.clarity), "clarity"),
            self._line(_("Weather"), word_of(Weather, visit.weather), "weather"),
            self._line(_("Past week"), word_of(Weather, visit.weather_past_week), "weather_past_week"),
            self._line(_("Signs of pollution"), visit.pollution_signs, "pollution_signs"),
            self._line(_("Notes"), visit.notes, "notes"),
        ]
        return [line for line in lines if line.value or line.findings]

    def _spot(self, spot: SpotEffort, planned: Decimal) -> SpotLine:
        path = f"spots.{spot.number}"
        depth = f"{_as_written(plain_text(spot.depth_cm))} cm" if spot.depth_cm is not None else ""
        return SpotLine(
            number=spot.number,
            flow_type=self._line(_("Flow type"), word_of(FlowType, spot.flow_type), f"{path}.flow_type"),
            kicks=self._line(_("Kicks"), str(spot.kicks), path, f"{path}.kicks"),
            seconds=self._line(
                _("Kicking time"), f"{_as_written(plain_text(spot.seconds))} s", f"{path}.seconds"
            ),
            depth=self._line(_("Depth"), depth, f"{path}.depth_cm"),
            timed=timed_words(spot, planned),
        )

    def _measurement(self, reading: Measurement) -> Line:
        quantity = QUANTITIES.get(reading.quantity)
        label = str(quantity.label) if quantity else reading.quantity
        unit = "" if reading.unit == label else f" {reading.unit}"
        return self._line(label, f"{_as_written(reading.as_typed)}{unit}", f"measurements.{reading.quantity}")

    def _count(self, count: TaxonCount) -> Line:
        # Whoever recorded a name of their own sees it first, with the name that is scored behind it.
        label = f"{count.recorded_as} ({count.taxon})" if count.recorded_as else count.taxon
        kind = "whole_tray" if count.whole_tray else "counts"
        path = f"{kind}.{count.recorded_as or count.taxon}"
        value = _("%(count)s in the whole tray") if count.whole_tray else "%(count)s"
        note = _("found with the key") if count.by_key else ""
        shown = value % {"count": counted(count)}
        return self._line(label, shown, path, is_absent=count.count == 0, note=note)


def _as_written(number: str) -> str:
    """A number with the decimal sign of the page's language; its places are kept."""
    return number.replace(",", ".").replace(".", get_format("DECIMAL_SEPARATOR"))


def word_of(choices: type[TextChoices], value: str) -> str:
    """The words of a coded value, empty for none."""
    # Django's own way says all choices in the reader's language to find one.
    return str(choices(value).label) if value else ""


def position_words(visit: Visit) -> str:
    """Where the visit was made: degrees, accuracy, how it is known, and how far that is from the site."""
    position = position_of(visit)
    if position is None:
        return ""
    accuracy = _("accuracy not known")
    if position.accuracy_m is not None:
        accuracy = _("exact to %(metres)d m") % {"metres": position.accuracy_m}
    away = distance_words(standing(position, visit.site).metres)
    return _("%(place)s (%(accuracy)s, %(source)s), %(distance)s from the site") % {
        "place": position_text(position.latitude, position.longitude),
        "accuracy": accuracy,
        "source": word_of(PositionSource, visit.position_source),
        "distance": away,
    }


def timed_words(spot: SpotEffort, planned: Decimal) -> str:
    """The kicks that a phone timed, in seconds: "10.0, 9.8, 4.2 (cut short)"; empty where none was."""
    return ", ".join(_timed(kick, planned) for kick in spot.timed.all())


def _timed(kick: TimedKick, planned: Decimal) -> str:
    seconds = f"{kick.seconds:.1f}"
    is_short = kick.seconds < planned and not is_near(kick.seconds, planned)
    return _("%(seconds)s (cut short)") % {"seconds": seconds} if is_short else seconds


def _checklist(visit: Visit) -> str:
    if not visit.checklist_done:
        return ""
    if visit.checklist_at is None:
        return _("gone through")
    return _("gone through at %(time)s") % {"time": _clock(visit.checklist_at)}


def _clock(moment: time | None) -> str:
    return time_format(moment, "H:i") if moment else ""


def counted(count: Counted) -> str:
    """A count as it is printed: "12", "10–99", "1,000+", "seen, not counted" or "looked for, none"."""
    if count.count == 0:
        return _("looked for, none")
    if count.count is not None:
        return _whole(count.count)
    if count.low is None:
        return _("seen, not counted")
    low = _whole(count.low)
    return f"{low}+" if count.high is None else f"{low}–{_whole(count.high)}"


def _whole(number: int) -> str:
    return _grouped(number, get_language())


@lru_cache(maxsize=5_000)
def _grouped(number: int, _language: str | None) -> str:
    return number_format(number, use_l10n=True, force_grouping=True)


def scores_of(visit: Visit) -> list[VisitScore]:
    """The scores in force, as `surveys.queries.current_scores` has fetched them."""
    found: list[VisitScore] = visit.current_scores  # type: ignore[attr-defined]
    return found


def score_lines(visit: Visit) -> list[ScoreLine]:
    """The scores in force, in the order of the methods."""
    by_index = {score.index: score for score in scores_of(visit)}
    return [_score_line(by_index[index]) for index in METHODS if index in by_index]


@dataclass(frozen=True)
class ScoreSheet:
    """A visit's scores: those a page leads with, all that its list supports, and those it does not."""

    leading: list[ScoreLine]
    supported: list[ScoreLine]
    unsupported: list[ScoreLine]


def score_sheet(visit: Visit) -> ScoreSheet:
    """The scores in force, told apart by what the visit's recording list supports (at most one query)."""
    reasons = reasons_of_lists([visit.recording_list_id])[visit.recording_list_id]
    lines = score_lines(visit)
    by_index = {line.index: line for line in lines}
    return ScoreSheet(
        leading=[by_index[index] for index in leading_indices(reasons) if index in by_index],
        supported=[line for line in lines if not reasons[line.index]],
        unsupported=[line for line in lines if reasons[line.index]],
    )


def _score_line(score: VisitScore) -> ScoreLine:
    method = METHODS[score.index]
    has_span = score.low is not None and score.high is not None
    return ScoreLine(
        index=score.index,
        name=told(method.name),
        title=told(method.title),
        value=printed(score.value, method.decimals),
        low=printed(score.low, method.decimals) if has_span else "",
        high=printed(score.high, method.decimals) if has_span else "",
        why_none=told(score.why_none),
        left_out=tuple(str(name) for name in score.left_out),
        version=score.version,
    )


def printed(value: float | None, decimals: int) -> str:
    """A score rounded to the decimals of its method, or a dash."""
    return "–" if value is None else _rounded(value, decimals, get_language())


@lru_cache(maxsize=5_000)
def _rounded(value: float, decimals: int, _language: str | None) -> str:
    # Not number_format: it cuts the digits off, and 6.857 would read 6.85.
    return floatformat(value, decimals)
