"""Holding a visit against the site's trigger, and saying why where that is not done."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from alerts.judging.records import has_baseline
from alerts.models import Trigger, Verdict
from alerts.queries import trigger_in_force
from scoring.baseline import PROVISIONAL_BELOW, is_below
from surveys.models import Visit
from surveys.models.visits import WaterLevel
from surveys.signals import JustTaken
from surveys.visits.effort import EFFORT_PROBLEMS, effort_problems

Outcome = Verdict.Outcome

REASONS: Mapping[str, Promise] = MappingProxyType(
    {
        "not_made": _("The visit could not be made, so nothing is known of the river on that day."),
        "past_record": _("It is a past record, loaded later: it is scored but sends no alert."),
        "no_trigger": _("No trigger was in force at this site on that day."),
        "no_score": _("The score that the trigger is about is not defined for this sample."),
        "effort": _("The effort was not the site's standard one, so the score cannot be compared: %(how)s."),
        "spate": _("The river was in spate or falling after one, which washes animals away."),
        "provisional": _("Fewer than 8 approved standard visits came before it: the baseline is provisional."),
        "pollution_seen": _("Signs of pollution were recorded all the same: somebody should look at it now."),
    }
)
# These say that a score is hard to compare, not that there is none to compare.
EXCUSABLE = frozenset({"effort", "spate", "provisional"})


@dataclass(frozen=True)
class Facts:
    """What a verdict rests on. `value` is the score of the trigger's index, `reasons` stand against testing."""

    trigger: Trigger | None
    value: float | None
    reasons: tuple[str, ...]
    pollution_seen: bool = False
    tested_anyway: bool = False


@dataclass(frozen=True)
class Judgement:
    """The verdict as plain data; `set_aside` are reasons against testing that were overridden."""

    outcome: str
    trigger: Trigger | None
    value: float | None
    reasons: tuple[str, ...] = ()
    set_aside: tuple[str, ...] = ()


def judge(visit: Visit, *, tested_anyway: bool = False, taken: JustTaken | None = None) -> Judgement:
    """The verdict on a visit; `tested_anyway` when a coordinator has said so, `taken` as in `facts_of`."""
    return weigh(facts_of(visit, tested_anyway=tested_anyway, taken=taken))


def weigh(facts: Facts) -> Judgement:
    """Compare: strictly below the trigger, or not, or not tested.

    Signs of pollution and a coordinator's word set aside what only makes a score hard to compare; without a
    score or a trigger nothing can be tested, and signs of pollution are then said beside the reason.
    """
    overridden = facts.pollution_seen or facts.tested_anyway
    if not are_excusable(facts.reasons) or (facts.reasons and not overridden):
        seen = ("pollution_seen",) if facts.pollution_seen else ()
        return Judgement(Outcome.NOT_TESTED, facts.trigger, facts.value, facts.reasons + seen)
    assert facts.trigger is not None
    assert facts.value is not None
    below = is_below(facts.value, facts.trigger.level)
    outcome = Outcome.BELOW if below else Outcome.NOT_BELOW
    return Judgement(outcome, facts.trigger, facts.value, (), facts.reasons)


def facts_of(visit: Visit, *, tested_anyway: bool = False, taken: JustTaken | None = None) -> Facts:
    """Gather the facts; past records and visits not made are never tested, so nothing is looked up for them.

    Of a visit that was just taken in, what was `taken` is not read again.
    """
    pollution = bool(visit.pollution_signs.strip()) and not visit.is_past_record
    bars = {"not_made": not visit.was_made, "past_record": visit.is_past_record}
    barred = [code for code, holds in bars.items() if holds]
    if barred:
        return Facts(None, None, tuple(barred), pollution)
    trigger = trigger_in_force(visit.site, visit.visited_on)
    if trigger is None:
        return Facts(None, None, ("no_trigger",), pollution)
    value = taken.values.get(trigger.index) if taken else _score(visit, trigger.index)
    effort = effort_problems(taken.submission if taken else visit, visit.site)
    reasons = (["no_score"] if value is None else []) + list(_excuses(visit, trigger, effort))
    return Facts(trigger, value, tuple(reasons), pollution, tested_anyway)


def _score(visit: Visit, index: str) -> float | None:
    return visit.scores.filter(index=index, is_current=True).values_list("value", flat=True).first()


def _excuses(visit: Visit, trigger: Trigger, effort: Iterable[str]) -> Iterable[str]:
    yield from (f"effort.{code}" for code in effort)
    if visit.water_level == WaterLevel.SPATE:
        yield "spate"
    if not trigger.despite_provisional and _is_provisional(visit, trigger):
        yield "provisional"


def _is_provisional(visit: Visit, trigger: Trigger) -> bool:
    return not has_baseline(visit.site, trigger.index, visit.visited_on, PROVISIONAL_BELOW)


def are_excusable(codes: Iterable[str]) -> bool:
    """Whether these reasons only make a score hard to compare."""
    return all(kind_of(code) in EXCUSABLE for code in codes)


def kind_of(code: str) -> str:
    """The key in REASONS: "effort.kick_time" is an "effort"."""
    return code.partition(".")[0]


def reason_words(codes: Iterable[str]) -> list[str]:
    """The codes as sentences for a reader, what was wrong with the effort in one of them."""
    codes = list(codes)
    how = "; ".join(str(EFFORT_PROBLEMS[code.partition(".")[2]]) for code in codes if kind_of(code) == "effort")
    kinds = dict.fromkeys(kind_of(code) for code in codes)
    return [str(REASONS[kind]) % {"how": how} if kind == "effort" else str(REASONS[kind]) for kind in kinds]
