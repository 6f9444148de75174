"""What is kept no longer: enquiries that came to nothing, guardians of those who grew up, senders of forms."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from portal.accounts.walls import wide
from portal.audit.services import record_change
from surveys.people.models import Enquiry, EnquiryAttempt, EnquiryState, Minor
from surveys.people.models.enquiries import OPEN_STATES
from surveys.people.services.asking import forget
from surveys.people.terms import ATTEMPTS_KEPT, ERASED_AFTER, UNCONFIRMED_KEPT


@wide("every group's enquiries are erased")
def erase_what_is_due(now: datetime) -> int:
    """Erase what has been kept for long enough; return how many enquiries went."""
    EnquiryAttempt.objects.across_groups("digests of senders go after a day").filter(
        at__lt=now - ATTEMPTS_KEPT
    ).delete()
    grown_up = Minor.objects.across_groups("guardians are kept until somebody is 18")
    grown_up.filter(until__lte=timezone.localdate(now)).delete()
    due = Enquiry.objects.across_groups("every group's enquiries are erased").filter(_is_due(now))
    return sum(_erase(number, now) for number in due.values_list("pk", flat=True))


def _is_due(now: datetime) -> Q:
    unconfirmed = Q(state=EnquiryState.UNCONFIRMED, changed_at__lt=now - UNCONFIRMED_KEPT)
    came_to_nothing = Q(state__in=(*OPEN_STATES, EnquiryState.NOT_NOW), changed_at__lt=now - ERASED_AFTER)
    return unconfirmed | came_to_nothing


@transaction.atomic
def _erase(number: UUID, now: datetime) -> int:
    rows = Enquiry.objects.across_groups("every group's enquiries are erased").select_for_update()
    # Somebody may have gone on with it since the list was read.
    found = rows.filter(_is_due(now), pk=number).first()
    if found is None:
        return 0
    record_change(actor=None, verb="enquiry.erased", thing=found)
    forget(found)
    return 1
