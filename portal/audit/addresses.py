"""From which network address an entry came: personal data, so kept apart from the trail and not for ever."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from uuid import UUID

from django.utils import timezone

from portal.accounts.walls import wide
from portal.audit.models import AuditEntry, EntryAddress
from portal.audit.origins import origin
from portal.inserting import Gathered, insert_rows

KEPT = timedelta(days=90)


def note_addresses(entries: Iterable[AuditEntry], into: Gathered | None = None) -> None:
    """Keep where these entries came from; nothing for what no client sent. `into` as for `insert_rows`."""
    address = origin().address
    if address is not None:
        insert_rows(EntryAddress, ("entry", "address"), [(each.pk, address) for each in entries], into)


def addresses_of(entries: Iterable[AuditEntry]) -> Mapping[UUID, str]:
    """The addresses that are still kept, by the entry's number (one query)."""
    found = EntryAddress.objects.filter(entry__in=[each.pk for each in entries])
    return dict(found.values_list("entry", "address"))


@wide("every group's entries")
def erase_old_addresses(now: datetime | None = None) -> int:
    """Erase those that were kept long enough; return how many went."""
    return EntryAddress.objects.filter(at__lt=(now or timezone.now()) - KEPT).delete()[0]


@wide("a person's entries are of several groups")
def erase_addresses_of(person: UUID) -> int:
    """Erase those of all that one account did; return how many went."""
    done = AuditEntry.objects.across_groups("a person's own entries").filter(actor=person)
    return EntryAddress.objects.filter(entry__in=done.values("pk")).delete()[0]
