"""The one signal of the project: visits were judged, and the floor above wants to know."""

from collections.abc import Mapping
from typing import NamedTuple

from django.dispatch import Signal

from surveys.submission.types import Submission


class JustTaken(NamedTuple):
    """What was said of a visit, and the value of each index that it scored."""

    submission: Submission
    values: Mapping[str, float | None]


# Sent with sender=Visit, event and person, inside the transaction: what a listener writes stands or falls with
# the visit. With it goes `visit`, for the events "submitted" (with `taken`, JustTaken, so that nobody need read
# it again), "mended", "corrected", "approved" and "returned"; for "imported" `visits`, which came in together;
# for "rescored" `group` and `visits`, the numbers of a whole batch that was scored anew. A new version changes
# what a score is, not what the river was.
visit_judged = Signal()
