"""Scores as they are printed, so that one can be told from the level beside it."""

from __future__ import annotations

import math

from scoring.indices.methods import Method
from surveys.models import Visit, VisitScore

# Farther than any two scores of one sample can be alike.
MOST_DECIMALS = 12


def figure(value: float, method: Method) -> str:
    """A score as it is printed: with the decimals of its method, and two where a level was set finer."""
    coarse = f"{value:.{method.decimals}f}"
    return coarse if math.isclose(float(coarse), value) else f"{value:.{max(2, method.decimals)}f}"


def told_apart(score: float, level: float, method: Method) -> tuple[str, str, str]:
    """Score, level and what lies between them, as printed; with more decimals where rounding would hide it."""
    if not is_close(score, level, method):
        return figure(score, method), figure(level, method), figure(abs(level - score), method)
    places = next(n for n in range(method.decimals + 1, MOST_DECIMALS + 1) if _is_told(score, level, n))
    return f"{score:.{places}f}", f"{level:.{places}f}", f"{abs(level - score):.{places}f}"


def is_close(score: float, level: float, method: Method) -> bool:
    """Whether two different figures, or what lies between them, would vanish in the usual decimals."""
    alike = figure(score, method) == figure(level, method)
    return not math.isclose(score, level) and (alike or float(figure(abs(level - score), method)) == 0)


def _is_told(score: float, level: float, places: int) -> bool:
    alike = f"{score:.{places}f}" == f"{level:.{places}f}"
    return places == MOST_DECIMALS or not (alike or round(abs(level - score), places) == 0)


def score_now(visit: Visit, index: str) -> VisitScore | None:
    """The visit's score in force; a page that has fetched `visit.current_scores` needs no query."""
    fetched: list[VisitScore] | None = getattr(visit, "current_scores", None)
    if fetched is None:
        return visit.scores.filter(index=index, is_current=True).first()
    return next((each for each in fetched if each.index == index), None)
