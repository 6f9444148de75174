"""The rows of visits as heads for `Table.copy`, in the order of `COLUMNS`."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from functools import cache, lru_cache

from portal.growing.catches import NAMES, Counts, sought
from portal.growing.drawing import CLARITIES, LEVELS, PAST_WEEKS, REASONS, WEATHERS, Plan
from portal.growing.effort import OFF_PLAN, STANDARD, SpotPlan
from portal.growing.land import Land
from portal.growing.tables import NULL, as_text
from scoring.explained import Explained
from surveys.scores.judging import NO_METHOD

Heads = Iterator[str]
COLUMNS: Mapping[str, tuple[str, ...]] = {
    "visit": (
        *("id", "group_id", "site_id", "recorder_id", "partner_id", "entered_by_id"),
        *(
            "status",
            "reviewed_by_id",
            "reviewed_at",
            "review_message",
            "visited_on",
            "submitted_at",
            "was_made",
        ),
        *(
            "not_made_reason",
            "started_at",
            "ended_at",
            "water_level",
            "clarity",
            "weather",
            "weather_past_week",
        ),
        "pollution_signs",
    ),
    "spot": ("visit_id", "number", "flow_type", "kicks", "seconds", "depth_cm"),
    "reading": ("visit_id", "quantity", "unit", "as_typed", "value"),
    "count": ("visit_id", "taxon", "count"),
    "score": ("visit_id", "index", "version", "value", "why_none", "left_out", "scored_at"),
    "finding": (
        *("id", "visit_id", "field", "message", "decision", "decided_by_id", "decided_at", "decision_reason"),
    ),
    "verdict": (
        *("id", "group_id", "visit_id", "outcome", "trigger_id", "value", "reasons", "set_aside", "decided_at"),
    ),
    "entry": (
        *("id", "group_id", "at", "actor_id", "actor_name", "verb", "object_id", "changes", "transaction"),
    ),
    "change": ("at", "transaction", "table", "row", "operation", "before", "after"),
}
SIGNS = "grey film on the stones"
RETURN_MESSAGE = "Please look at your sheet again."
# From 1970 to year 1, in days: what `transaction` counts its seconds from.
_EPOCH = date(1970, 1, 1).toordinal()


def submitted_at(plan: Plan) -> str:
    """The evening of the day, UTC."""
    return f"{_day(plan.day)} 18:{plan.choice % 60:02d}:00+00:00"


def reviewed_at(plan: Plan) -> str:
    """The evening of its review, NULL where it waits."""
    return f"{_day(plan.checked_on)} 19:{plan.choice % 60:02d}:00+00:00" if plan.checked_on else NULL


@lru_cache(maxsize=5_000)
def _day(day: date) -> str:
    return day.isoformat()


def visit_rows(land: Land, plans: Sequence[Plan]) -> Heads:
    for plan in plans:
        group = land.group_of(plan.site)
        people = land.person_ids[group]
        recorder = people[plan.recorder]
        reviewer = people[plan.reviewer] if plan.checked_on else NULL
        message = RETURN_MESSAGE if plan.status == "returned" else ""
        yield (
            f"{plan.id}\t{land.group_ids[group]}\t{land.site_ids[plan.site]}\t{recorder}\t{people[plan.partner]}\t"
            f"{recorder}\t{plan.status}\t{reviewer}\t{reviewed_at(plan)}\t{message}\t{_day(plan.day)}\t"
            f"{submitted_at(plan)}\t{_conditions(plan)}"
        )


def _conditions(plan: Plan) -> str:
    if not plan.was_made:
        return f"f\t{plan.pick(REASONS, 1)}\t{NULL}\t{NULL}\t\t\t\t\t"
    hour = 9 + plan.choice % 6
    water = "spate\tcloudy\tshowers\theavy_rain" if plan.is_spate else _water(plan)
    signs = SIGNS if plan.has_signs else ""
    return f"t\t\t{hour:02d}:15:00\t{hour + 1:02d}:{plan.choice % 60:02d}:00\t{water}\t{signs}"


def _water(plan: Plan) -> str:
    words = (LEVELS, CLARITIES, WEATHERS, PAST_WEEKS)
    return "\t".join(plan.pick(each, turn) for turn, each in enumerate(words, start=2))


def spot_rows(plans: Sequence[Plan]) -> Heads:
    for plan in plans:
        if plan.was_made:
            for spot in OFF_PLAN if plan.is_off_plan else STANDARD:
                yield f"{plan.id}\t{_spot(spot)}\t{8 + (plan.choice >> spot.number) % 34}"


@cache
def _spot(spot: SpotPlan) -> str:
    return f"{spot.number}\t{spot.flow_type}\t{spot.kicks}\t{spot.seconds}"


def reading_rows(plans: Sequence[Plan]) -> Heads:
    for plan in plans:
        if plan.was_made:
            winter = abs(plan.day.month - 7)
            chance = plan.choice % 97
            for quantity, value in (
                ("temperature\t°C", f"{16 - 2 * winter + chance / 49:.1f}"),
                ("ph\tpH", f"{7.2 + chance / 121:.1f}"),
                ("oxygen\tmg/L", f"{9.4 + winter / 3 + chance / 97:.1f}"),
            ):
                yield f"{plan.id}\t{quantity}\t{value}\t{value}"


def count_rows(land: Land, plans: Sequence[Plan], counts: Counts) -> Heads:
    for plan, row in zip(plans, counts.tolist(), strict=True):
        if plan.was_made:
            for place in sought(int(land.reaches[plan.site])):
                yield f"{plan.id}\t{NAMES[place]}\t{row[place]}"


def score_rows(plans: Sequence[Plan], explained: Mapping[str, Explained], reasons: Mapping[str, str]) -> Heads:
    for index, scores in explained.items():
        start = f"{index}\t{scores.version}\t"
        unsupported = f"{index}\t{NO_METHOD}\t{NULL}\t{as_text(reasons[index])}\t[]" if reasons[index] else ""
        rows = zip(plans, scores.values.tolist(), scores.why_none, scores.left_out, strict=True)
        for plan, value, why_none, left_out in rows:
            if plan.was_made:
                told = f"{NULL}\t{why_none}" if why_none else f"{value!r}\t"
                end = unsupported or f"{start}{told}\t{_as_json(left_out)}"
                yield f"{plan.id}\t{end}\t{submitted_at(plan)}"


@lru_cache(maxsize=20_000)
def _as_json(names: Sequence[str]) -> str:
    return json.dumps(names)


def entry_rows(land: Land, plans: Sequence[Plan], keys: Sequence[str], first: int) -> Heads:
    """What the trail says of submitting and checking; `keys` are two for each visit, `first` its number."""
    for at, plan in enumerate(plans):
        group = land.group_of(plan.site)
        ids, users = land.person_ids[group], land.people[group]
        about = f"{plan.id}\t"
        yield (
            f"{keys[2 * at]}\t{land.group_ids[group]}\t{submitted_at(plan)}\t{ids[plan.recorder]}\t"
            f"{users[plan.recorder].name}\tvisit.submitted\t{about}{{}}\t{transaction(plan, first + at)}"
        )
        if plan.checked_on:
            changes = f'{{"status": ["waiting", "{plan.status}"]}}'
            yield (
                f"{keys[2 * at + 1]}\t{land.group_ids[group]}\t{reviewed_at(plan)}\t{ids[plan.reviewer]}\t"
                f"{users[plan.reviewer].name}\tvisit.{plan.status}\t{about}{changes}\t"
                f"{transaction(plan, first + at, plan.checked_on)}"
            )


def change_rows(plans: Sequence[Plan], verdicts: Sequence[str], first: int) -> Heads:
    """What the database's own history would have noted of these visits and of the verdicts on them."""
    for at, (plan, verdict) in enumerate(zip(plans, verdicts, strict=True)):
        when, told = submitted_at(plan), transaction(plan, first + at)
        yield f"{when}\t{told}\tsurveys_visit\t{plan.id}\tadded\t{{}}\t{{}}"
        yield f"{when}\t{told}\talerts_verdict\t{verdict}\tadded\t{{}}\t{{}}"
        if plan.checked_on:
            told = transaction(plan, first + at, plan.checked_on)
            states = f'{{"status": "waiting"}}\t{{"status": "{plan.status}"}}'
            yield f"{reviewed_at(plan)}\t{told}\tsurveys_visit\t{plan.id}\tchanged\t{states}"


def transaction(plan: Plan, number: int, day: date | None = None) -> str:
    """What tells the transaction of submitting (or, with a day, of checking) from all others."""
    seconds = (
        ((day or plan.day).toordinal() - _EPOCH) * 86_400 + (19 if day else 18) * 3600 + plan.choice % 60 * 60
    )
    return f"{2 * number + bool(day)}@{seconds}"
