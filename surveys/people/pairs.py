"""Who may go out with whom: nobody under 18 alone, and never two of them alone. Pure."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from uuid import UUID

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

# Says nothing of who is meant: whoever reads it need not know who is under 18.
NEEDS_ADULT: Promise = _(
    "An adult must go along here. Name the adult who goes, a member or somebody else by name; "
    "if nobody can, leave it for another day."
)


@dataclass(frozen=True)
class Readiness:
    """What is known of those who went: whether the group keeps trainings at all, what each may do by them on
    the day (values of `Permit`), and who is under 18."""

    keeps_trainings: bool = False
    may: Mapping[UUID, frozenset[str]] = field(default_factory=lambda: MappingProxyType({}))
    minors: frozenset[UUID] = frozenset()

    def is_trained(self, person: UUID | None) -> bool:
        """Whether somebody may take a sample by themselves."""
        return bool(person and self.may.get(person))

    def may_supervise(self, person: UUID | None) -> bool:
        """Whether somebody may look after a newcomer."""
        return bool(person and "lead" in self.may.get(person, ()))


def lacks_adult(minors: Collection[UUID], people: Collection[UUID], *, somebody_else: bool = False) -> bool:
    """Whether those named are all under 18, `people` being accounts.

    `somebody_else` says that somebody without an account goes too, whose age the portal cannot know.
    """
    return bool(people) and not somebody_else and all(each in minors for each in people)
