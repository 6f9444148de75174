"""Checking visits: approving them, or returning them to their recorders."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.audit.services import record_change
from surveys.errors import ChangedMeanwhile, NotPossible, need_text
from surveys.models import Visit
from surveys.models.visits import Status
from surveys.review.mail import tell_recorder_returned
from surveys.services.findings import accept_open_findings
from surveys.services.saving import tell


def locked(visit: Visit) -> Visit:
    """The visit as it stands now, held until the transaction ends: two reviewers wait for each other."""
    rows = Visit.objects.filter(group=visit.group_id).select_related("site__group", "group")
    # Only the visit's own row: holding the site's too would stop every other visit to it. Without the key, for
    # whoever writes a row about the visit meanwhile may hold what this transaction asks for next.
    return rows.select_for_update(of=("self",), no_key=True).get(pk=visit.pk)


@transaction.atomic
def approve_visit(
    *, person: Person, visit: Visit, accept_findings_reason: str = "", revision: int | None = None
) -> Visit:
    """Approve a waiting visit; never by anybody involved in it.

    Each finding is decided before, or all open ones are accepted with the one reason given. `revision` is the
    visit's own when the person was shown it; one that was changed since is refused.
    """
    approved = locked(visit)
    require(person, "visit.approve", approved)
    _require_waiting(approved)
    require_seen(approved, revision)
    # Nothing unusual goes through unseen: each finding ends with a name and a reason.
    accept_open_findings(approved, person, accept_findings_reason)
    _set_status(approved, person, Status.APPROVED, "")
    changes = {"status": [Status.WAITING, Status.APPROVED]}
    record_change(
        actor=person, verb="visit.approved", thing=approved, changes=changes, reason=accept_findings_reason
    )
    tell(approved, "approved", person)
    return approved


@transaction.atomic
def return_visit(*, person: Person, visit: Visit, message: str) -> Visit:
    """Return a waiting visit to its recorder with a message, which also goes out by e-mail."""
    returned = locked(visit)
    require(person, "visit.return", returned)
    _require_waiting(returned)
    text = need_text(message, "message", _("Write to the recorder what should be looked at."))
    _set_status(returned, person, Status.RETURNED, text)
    changes = {"status": [Status.WAITING, Status.RETURNED]}
    entry = record_change(actor=person, verb="visit.returned", thing=returned, changes=changes, reason=text)
    tell_recorder_returned(returned, text, person, entry)
    tell(returned, "returned", person)
    return returned


def _require_waiting(visit: Visit) -> None:
    # Asked of the locked row: the page the reviewer looked at may be hours old.
    if visit.status != Status.WAITING:
        raise NotPossible(
            _("This visit is not waiting any more: it is %(status)s.") % {"status": visit.get_status_display()}
        )


def require_seen(visit: Visit, revision: int | None) -> None:
    """Raise ChangedMeanwhile where a locked visit is not the one that was shown at that revision."""
    if reason := why_not_as_shown(visit, revision):
        raise ChangedMeanwhile(reason)


def why_not_as_shown(visit: Visit, revision: int | None) -> str:
    """Why a locked visit is not the one that was shown at that revision, for the person; empty where it is.

    No revision: nothing is known of what was shown.
    """
    # A number and no moment: what is committed late bears an early time.
    if revision is None or revision == visit.revision:
        return ""
    return _("This visit was changed since you opened this page. Look at it again.")


def _set_status(visit: Visit, person: Person, status: str, message: str) -> None:
    visit.status = status
    visit.reviewed_by_id = person.user_id
    visit.reviewed_at = timezone.now()
    visit.review_message = message
    visit.save(update_fields=["status", "reviewed_by", "reviewed_at", "review_message"])
