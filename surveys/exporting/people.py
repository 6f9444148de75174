"""Whose names an export carries. A file travels further than a page that only members open."""

from __future__ import annotations

from uuid import UUID

from django.utils import timezone

from portal.accounts.access import Person
from portal.accounts.models import Group, Membership
from surveys.models import Visit


class Names:
    """Names for one reader: all of them, or only of members who agreed to be named, and the reader's own."""

    def __init__(self, group: Group, *, everybody: bool = False, own: UUID | None = None) -> None:
        agreed = Membership.objects.of_group(group).filter(show_name=True)
        # Whatever they once agreed to: nobody under 18 is named in public.
        agreed = agreed.exclude(minor__until__gt=timezone.localdate())
        self._everybody = everybody
        self._own = own
        self._agreed = {*agreed.values_list("user_id", flat=True), *([own] if own else [])}

    @classmethod
    def for_person(cls, person: Person, group: Group) -> Names:
        """A coordinator has to be able to move the whole group; anybody else takes agreed names along."""
        return cls(group, everybody=person.is_coordinator(group.pk), own=person.user_id)

    def recorder(self, visit: Visit) -> str:
        """Who recorded, or nothing."""
        return self._name(visit.recorder_id, visit.recorder.name if visit.recorder else visit.recorder_name)

    def partner(self, visit: Visit) -> str:
        """Who was there too, or nothing."""
        return self._name(visit.partner_id, visit.partner.name if visit.partner else visit.partner_name)

    def sees_position(self, visit: Visit) -> bool:
        """Whether the reader may take along where the visit was made: as on its page."""
        of_visit = (visit.entered_by_id, visit.recorder_id, visit.partner_id)
        return self._everybody or (self._own is not None and self._own in of_visit)

    def _name(self, user_id: UUID | None, name: str) -> str:
        # Somebody without an account was never asked.
        return name if self._everybody or user_id in self._agreed else ""
