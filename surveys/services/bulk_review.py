"""Approving several visits that nothing speaks against, each on its own."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass, field
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import DatabaseError
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.models import Group
from surveys.errors import NotPossible
from surveys.models import Visit
from surveys.review.queue import waiting_in_order, why_not_at_once
from surveys.services.review import approve_visit

log = logging.getLogger(__name__)
# As many as a page of the queue shows.
MOST_AT_ONCE = 100


@dataclass(frozen=True)
class Approvals:
    """What became of visits approved at once: those approved, and the others, each with the reason."""

    approved: list[Visit] = field(default_factory=list)
    left: list[tuple[Visit, str]] = field(default_factory=list)


def approve_several(*, person: Person, group: Group, seen: Mapping[UUID, int | None]) -> Approvals:
    """Approve those of the waiting visits that nothing speaks against; the others are named with the reason.

    `seen` are their numbers, each with the revision that the person was shown, if that is known. Each visit is
    a transaction of its own with its own audit row, so that one that fails stops no other. Raises NotPossible
    when none or too many are chosen.
    """
    require(person, "visit.review", group)
    if not seen:
        raise NotPossible(_("Tick the visits that you want to approve."))
    if len(seen) > MOST_AT_ONCE:
        raise NotPossible(_("Not more than %(most)d visits at once.") % {"most": MOST_AT_ONCE})
    done = Approvals()
    for visit in waiting_in_order(group).filter(pk__in=seen):
        reason = why_not_at_once(person, visit) or _why_not_approved(person, visit, seen[visit.pk])
        if reason:
            done.left.append((visit, reason))
        else:
            done.approved.append(visit)
    return done


def _why_not_approved(person: Person, visit: Visit, revision: int | None) -> str:
    """Approve the visit; the answer is why that failed, or nothing."""
    try:
        approve_visit(person=person, visit=visit, revision=revision)
    except NotPossible as refusal:
        return refusal.message
    except PermissionDenied as refusal:
        return str(refusal)
    except (DatabaseError, ValidationError):
        log.exception("visit %s could not be approved with others", visit.pk)
        return _("it could not be saved just now; try it by itself")
    return ""
