"""The one sweep that lets go what was kept for long enough, batch after batch."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from uuid import UUID

from django.db import transaction

from portal.accounts.models import Group
from portal.accounts.walls import wide
from portal.audit.services import record_change
from portal.privacy.kept import Kept
from portal.privacy.limits import BATCH
from portal.privacy.models import KeepingTerms
from portal.privacy.register import KEPT

# One sweep ends some time; what is left is for the next.
MOST_BATCHES = 20


@wide("the sweep serves every group")
def let_go_what_is_due(now: datetime) -> int:
    """Let go whatever has reached its limit, in every group and in the portal as a whole; return how much."""
    limited = [each for each in KEPT if each.limit]
    done = sum(each.limit.everywhere(now) for each in limited if each.limit and each.limit.everywhere)
    terms = {each.group_id: each for each in KeepingTerms.objects.across_groups("the sweep serves every group")}
    for group in Group.objects.order_by("pk"):
        done += sum(_of_group(each, group, now, terms) for each in limited)
    return done


def _of_group(kind: Kept, group: Group, now: datetime, terms: Mapping[UUID, KeepingTerms]) -> int:
    limit = kind.limit
    if limit is None or limit.sweep is None:
        return 0
    days = int(getattr(terms.get(group.pk), limit.choosable or "-", limit.days))
    done = 0
    for _batch in range(MOST_BATCHES):
        found = _batch_of(kind, group, now, days)
        done += found
        if found < BATCH:
            break
    return done


@transaction.atomic
def _batch_of(kind: Kept, group: Group, now: datetime, days: int) -> int:
    assert kind.limit is not None
    assert kind.limit.sweep is not None
    found = kind.limit.sweep(group, now, days)
    if found:
        # How many, never whose.
        record_change(actor=None, verb="privacy.let_go", thing=group, changes={kind.key: [found, 0]})
    return found
