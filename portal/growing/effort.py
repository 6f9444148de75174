"""The two kinds of effort that grown visits know, and what the portal's own rules say of them."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from functools import cache
from typing import NamedTuple
from uuid import UUID

from surveys.models import Site
from surveys.rules import Context, rule_named
from surveys.submission.types import Spot, Submission
from surveys.visits.effort import effort_problems

RULE = "effort_off_plan"


class SpotPlan(NamedTuple):
    """One spot: seconds of all kicks together."""

    number: int
    flow_type: str
    kicks: int
    seconds: int


STANDARD = (SpotPlan(1, "riffle", 3, 30), SpotPlan(2, "run", 3, 30), SpotPlan(3, "glide", 3, 30))
OFF_PLAN = (*STANDARD[:2], SpotPlan(3, "glide", 2, 20))


@cache
def problems(*, is_off_plan: bool) -> tuple[str, ...]:
    """Codes of reasons why such an effort is not the standard one of a new site."""
    return tuple(effort_problems(_submission(OFF_PLAN if is_off_plan else STANDARD), Site()))


@cache
def remarks() -> tuple[tuple[str, str], ...]:
    """Field and words of each finding on an effort off the plan."""
    rule = rule_named(RULE)
    if rule is None or rule.check is None:
        raise LookupError(f"There is no rule {RULE} any more.")
    return tuple(rule.check(_submission(OFF_PLAN), Context(site=Site(), today=date.min)))


def _submission(spots: tuple[SpotPlan, ...]) -> Submission:
    made = [Spot(each.number, each.kicks, Decimal(each.seconds), each.flow_type) for each in spots]
    return Submission(id=UUID(int=0), site=UUID(int=0), visited_on=date.min, spots=tuple(made))
