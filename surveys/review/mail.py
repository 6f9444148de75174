"""The e-mails that the review of visits owes."""

from __future__ import annotations

from django.conf import settings
from django.urls import reverse

from portal.accounts.access import Person
from portal.accounts.languages import speaking_to
from portal.accounts.models import User
from portal.audit.models import AuditEntry
from portal.outbox.rendering import render_mail
from portal.outbox.services import owe_message
from surveys.models import Visit, VisitQuestion
from surveys.review.links import question_url

RETURNED = "visit_returned"
ASKED = "visit_question"


def recorder_of(visit: Visit) -> User:
    """Whom to ask about a visit: its recorder, else whoever typed it."""
    # Of an imported visit the recorder may have no account; then its typist is the one to ask.
    return visit.recorder if visit.recorder and visit.recorder.is_active else visit.entered_by


def tell_recorder_returned(visit: Visit, message: str, person: Person, entry: AuditEntry) -> None:
    """Owe the recorder (else whoever typed it) the news that the visit came back; once for each return."""
    reader = recorder_of(visit)
    address = reverse("visit_mend", args=[visit.group.slug, visit.pk])
    context = {"visit": visit, "message": message, "reviewer": person.name, "link": settings.BASE_URL + address}
    with speaking_to(reader, visit.group):
        words = render_mail("surveys/mail/visit_returned", {**context, "reader": reader})
    # By the audit row, so that a second return of the same visit is a second message.
    _owe(f"visit-returned-{entry.pk}", RETURNED, words, reader, visit, person)


def ask_by_mail(question: VisitQuestion, person: Person) -> None:
    """Owe the person asked their question, with a signed link to the page that takes the answer."""
    visit, reader = question.visit, question.asked_of
    context = {"visit": visit, "question": question, "reviewer": person.name, "reader": reader}
    with speaking_to(reader, visit.group):
        words = render_mail("surveys/mail/visit_question", {**context, "link": question_url(question)})
    _owe(f"visit-question-{question.pk}", ASKED, words, reader, visit, person)


def _owe(key: str, kind: str, words: tuple[str, str, str], reader: User, visit: Visit, person: Person) -> None:
    subject, text, html = words
    owe_message(
        key=key,
        kind=kind,
        to_address=reader.email,
        to_name=reader.name,
        subject=subject,
        text=text,
        html=html,
        group=visit.group,
        # Answers belong beside the visit, where every reviewer finds them; a reply still reaches somebody.
        reply_to=person.email,
        about=visit,
    )
