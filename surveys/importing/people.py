"""Finding the members that a sheet names."""

from __future__ import annotations

from collections import defaultdict
from uuid import UUID

from portal.accounts.models import Group, Membership


class Members:
    """The group's people, past ones too: old records name those who have left."""

    def __init__(self, group: Group) -> None:
        self._known: dict[str, set[UUID]] = defaultdict(set)
        for each in Membership.objects.of_group(group).select_related("user"):
            self._known[each.user.email.casefold()].add(each.user_id)
            self._known[_key(each.user.name)].add(each.user_id)

    def find(self, text: str) -> UUID | None:
        """The one person of that e-mail address or name; None for nobody and for a name of two people."""
        # To choose between two of one name would be a guess, and whoever is named may not approve.
        found = self._known.get(_key(text), set())
        return next(iter(found)) if len(found) == 1 else None


def _key(text: str) -> str:
    return " ".join(text.casefold().split())
