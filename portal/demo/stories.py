"""How an episode of pollution goes on after the low visit: who answers when, and what came of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

from alerts.models import Outcome

HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@dataclass(frozen=True)
class Story:
    """Times count from the submission; None means that it never came (or not yet)."""

    acknowledged_after: timedelta | None = None
    note: str = ""
    closed_after: timedelta | None = None
    outcome: str = ""
    outcome_note: str = ""
    pollution_signs: str = ""
    is_mistake: bool = False


STORIES: Mapping[str, Story] = {
    "traced": Story(
        2 * HOUR,
        "An officer walks the reach tomorrow morning.",
        9 * DAY,
        Outcome.SOURCE_STOPPED,
        "A cracked pipe was found two fields upstream and mended.",
        "Grey film on the stones, smell of whey.",
    ),
    "suspected": Story(
        5 * HOUR,
        "Samples are with the laboratory.",
        20 * DAY,
        Outcome.SOURCE_SUSPECTED,
        "Not proven.",
        "Foam at the bank.",
    ),
    "natural": Story(
        HOUR,
        "",
        12 * DAY,
        Outcome.NATURAL,
        "The beck had been dry for three weeks and had only just come back.",
    ),
    "repeat_fine": Story(
        3 * HOUR, "Please repeat the sample.", 8 * DAY, Outcome.NOT_CONFIRMED, "The repeat was as usual."
    ),
    "silent": Story(None, "", 30 * DAY, Outcome.NO_RESPONSE, "Nobody answered, not even on the telephone."),
    "mistaken": Story(2 * HOUR, is_mistake=True),
    "acknowledged": Story(
        3 * HOUR,
        "We have your alert; a colleague visits this week.",
        pollution_signs="Milky water for some minutes.",
    ),
    "open": Story(pollution_signs="Grey growth on the stones, smell of sour milk."),
}
# A low score that nobody has planned is chance at work, and ends like one.
UNPLANNED = "repeat_fine"
