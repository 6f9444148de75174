"""Who may go out with whom: nobody under 18 alone, and never two of them alone. Pure."""

from __future__ import annotations

from collections.abc import Collection
from uuid import UUID

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

# Says nothing of who is meant: whoever reads it need not know who is under 18.
NEEDS_ADULT: Promise = _(
    "An adult must go along here. Name the adult who goes, a member or somebody else by name; "
    "if nobody can, leave it for another day."
)


def lacks_adult(minors: Collection[UUID], people: Collection[UUID], *, somebody_else: bool = False) -> bool:
    """Whether those named are all under 18, `people` being accounts.

    `somebody_else` says that somebody without an account goes too, whose age the portal cannot know.
    """
    return bool(people) and not somebody_else and all(each in minors for each in people)
