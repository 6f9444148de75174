"""A verdict whose visit has been scored anew since: it stands on the earlier score, and says so."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from alerts.models import Verdict
from scoring.indices.methods import METHODS
from surveys.models import Visit, VisitScore
from surveys.sheets import printed
from surveys.told import told

# Far below any printed digit: the order of additions alone may move a score so far.
NO_MOVE = 5e-9


@dataclass(frozen=True)
class Moved:
    """The score a visit was tested with and the one it has now, as printed; `now` is blank without a score.

    `since` is when it was scored anew; None where no score is kept at all.
    """

    method: str
    was: str
    now: str
    why_none: str
    since: datetime | None


def moved_score(visit: Visit, verdict: Verdict) -> Moved | None:
    """What has become of the score that a verdict stands on; None where it is the same or nothing was tested.

    A page that has fetched `visit.current_scores` needs no query.
    """
    if verdict.outcome == Verdict.Outcome.NOT_TESTED or verdict.trigger is None:
        return None
    method, score = METHODS[verdict.trigger.index], _score_now(visit, verdict.trigger.index)
    value = score.value if score else None
    if not _has_moved(verdict.value, value):
        return None
    return Moved(
        method=told(method.name),
        was=printed(verdict.value, method.decimals),
        now="" if value is None else printed(value, method.decimals),
        why_none=told(score.why_none) if score else "",
        since=score.scored_at if score else None,
    )


def _score_now(visit: Visit, index: str) -> VisitScore | None:
    fetched: list[VisitScore] | None = getattr(visit, "current_scores", None)
    if fetched is None:
        return visit.scores.filter(index=index, is_current=True).first()
    return next((each for each in fetched if each.index == index), None)


def _has_moved(was: float | None, now: float | None) -> bool:
    if was is None or now is None:
        return was is not now
    return not math.isclose(was, now, rel_tol=1e-9, abs_tol=NO_MOVE)
