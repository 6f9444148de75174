"""A verdict whose visit has been scored anew since: it stands on the earlier score, and says so."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from alerts.judging.figures import figure, score_now, told_apart
from alerts.models import Verdict
from scoring.indices.methods import METHODS
from surveys.models import Visit
from surveys.texts.told import told

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
    if verdict.outcome == Verdict.Outcome.NOT_TESTED or verdict.trigger is None or verdict.value is None:
        return None
    method, score = METHODS[verdict.trigger.index], score_now(visit, verdict.trigger.index)
    value = score.value if score else None
    if value is None:
        was, now = figure(verdict.value, method), ""
    elif math.isclose(verdict.value, value, rel_tol=1e-9, abs_tol=NO_MOVE):
        return None
    else:
        was, now, _ = told_apart(verdict.value, value, method)
    since, why_none = (score.scored_at, told(score.why_none)) if score else (None, "")
    return Moved(told(method.name), was, now, why_none, since)
