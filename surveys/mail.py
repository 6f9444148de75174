"""The e-mails that the review of visits owes."""

from __future__ import annotations

from django.conf import settings
from django.urls import reverse

from portal.accounts.access import Person
from portal.audit.models import AuditEntry
from portal.outbox.rendering import render_mail
from portal.outbox.services import owe_message
from surveys.models import Visit

RETURNED = "visit_returned"


def tell_recorder_returned(visit: Visit, message: str, person: Person, entry: AuditEntry) -> None:
    """Owe the recorder (else whoever typed it) the news that the visit came back; once for each return."""
    # Of an imported visit the recorder may have no account; then its typist is the one to ask.
    reader = visit.recorder if visit.recorder and visit.recorder.is_active else visit.entered_by
    address = reverse("visit_mend", args=[visit.group.slug, visit.pk])
    context = {"visit": visit, "message": message, "reviewer": person.name, "link": settings.BASE_URL + address}
    subject, text, html = render_mail("surveys/mail/visit_returned", {**context, "reader": reader})
    owe_message(
        # By the audit row, so that a second return of the same visit is a second message.
        key=f"visit-returned-{entry.pk}",
        kind=RETURNED,
        to_address=reader.email,
        to_name=reader.name,
        subject=subject,
        text=text,
        html=html,
        group=visit.group,
        reply_to=person.email,
        about=visit,
    )
