"""Reading the trail of accounts, rights and files: for the person, for coordinators, for operators."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.paginator import Page
from django.db.models import Q
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from portal.accounts.access import Person
from portal.accounts.models import Group, Membership
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.audit.addresses import addresses_of
from portal.audit.models import AuditEntry
from portal.audit.words import ACCOUNT, ALL, RIGHTS, TAKEN, in_words, way_of, what_happened

Entries = GroupOwnedQuerySet[AuditEntry]
DETAILS: dict[str, Promise] = {
    "role": _("Role"),
    "file": _("File"),
    "content": _("What"),
    "rows": _("Rows"),
    "scopes": _("Use"),
    "factor": _("Kind"),
}


@dataclass(frozen=True)
class Happening:
    """One entry as a reader is told of it; `address` only where they may see it and it is still kept."""

    when: datetime
    who: str
    what: str
    details: tuple[tuple[str, str], ...]
    way: str
    group: str
    address: str


def own_happenings(person: Person) -> Entries:
    """What happened with the person's account, memberships and keys, and the files that they took."""
    everywhere = AuditEntry.objects.across_groups("a person's own account")
    mine = Q(object_type="accounts.user", object_id=person.user_id)
    member = Membership.objects.across_groups("a person's own").filter(user=person.user_id).values("pk")
    of_mine = Q(object_type="accounts.membership", object_id__in=member, verb__in=list(RIGHTS))
    done = Q(actor=person.user_id, verb__in=[*ACCOUNT, *TAKEN])
    return everywhere.filter(mine | of_mine | done).order_by("-at", "id")


def group_happenings(group: Group) -> Entries:
    """Rights given and taken and files taken in one group, the latest first."""
    return AuditEntry.objects.of_group(group).filter(verb__in=[*RIGHTS, *TAKEN]).order_by("-at", "id")


def all_happenings() -> Entries:
    """Sign-ins, rights and files of the whole portal, the latest first."""
    everywhere = AuditEntry.objects.across_groups("operators see the whole portal")
    return everywhere.filter(verb__in=list(ALL)).select_related("group").order_by("-at", "id")


def told(page: Page[AuditEntry], *, with_addresses: bool, own: Person | None = None) -> list[Happening]:
    """One page of entries in words (one query for the addresses, none without).

    With `own`, whoever did it elsewhere keeps their address: only what the person did, or tried as them.
    """
    entries = list(page)
    seen = [each for each in entries if with_addresses and (own is None or _is_of(own, each))]
    addresses = addresses_of(seen) if seen else {}
    return [_told(each, addresses) for each in entries]


def _is_of(person: Person, entry: AuditEntry) -> bool:
    return entry.actor_id in (None, person.user_id)


def _told(entry: AuditEntry, addresses: Any) -> Happening:
    is_of_group = "group" in entry._state.fields_cache and entry.group
    return Happening(
        when=entry.at,
        who=entry.actor_name,
        what=what_happened(entry.verb),
        details=_details(entry.changes, DETAILS),
        way=way_of(entry),
        group=str(entry.group) if is_of_group else "",
        address=addresses.get(entry.pk, ""),
    )


def _details(changes: Any, shown: Collection[str]) -> tuple[tuple[str, str], ...]:
    pairs = changes.items() if isinstance(changes, dict) else ()
    return tuple(
        (str(DETAILS[name]), in_words(name, pair[1]))
        for name, pair in pairs
        if name in shown and isinstance(pair, list) and len(pair) == 2
    )
