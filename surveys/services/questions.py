"""Questions about a visit: asked of its recorder while it waits, answered beside it."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, acting_id, require
from portal.accounts.queries import members_of, person_of
from portal.audit.services import record_change
from surveys.errors import NotPossible, need_text
from surveys.models import Visit, VisitQuestion
from surveys.models.visits import Status
from surveys.review.mail import ask_by_mail, recorder_of
from surveys.services.review import locked


@transaction.atomic
def ask_recorder(*, person: Person, visit: Visit, text: str) -> VisitQuestion:
    """Ask the recorder about a visit that waits; it goes on waiting.

    The question goes out by e-mail with a signed link to answer it. Raises NotPossible (field `question`).
    """
    held = locked(visit)
    require(person, "question.ask", held)
    if held.status != Status.WAITING:
        raise NotPossible(_("Questions are asked while the visit waits to be checked."))
    words = need_text(text, "question", _("Write what you would like to know."))
    asked_of = recorder_of(held)
    if asked_of.pk == person.user_id:
        raise NotPossible(_("You recorded this visit yourself: there is nobody else to ask."), "question")
    # Whoever left is written to no more; their visits are decided by what stands in them.
    if not members_of(held.group).filter(user=asked_of).exists():
        gone = _("%(name)s does not belong to the group any more and cannot be asked.")
        raise NotPossible(gone % {"name": asked_of.name}, "question")
    question = VisitQuestion.objects.create(
        visit=held, text=words, asked_by_id=acting_id(person), asked_of=asked_of
    )
    record_change(actor=person, verb="visit.asked", thing=held, reason=words)
    ask_by_mail(question, person)
    return question


@transaction.atomic
def answer_question(*, person: Person, question: VisitQuestion, text: str) -> VisitQuestion:
    """Answer a question, once. Raises NotPossible, at the field `answer` where words are missing."""
    rows = VisitQuestion.objects.filter(visit__group=question.visit.group_id).select_related("visit")
    held = rows.select_for_update(of=("self",)).get(pk=question.pk)
    require(person, "question.answer", held)
    if held.answered_at:
        raise NotPossible(_("This question is answered already. Thank you."))
    held.answer = need_text(text, "answer", _("Write your answer."))
    held.answered_at = timezone.now()
    held.save(update_fields=["answer", "answered_at"])
    record_change(actor=person, verb="visit.answered", thing=held.visit, reason=held.answer)
    return held


def answer_by_link(*, question: VisitQuestion, text: str) -> VisitQuestion:
    """The same for whoever holds the signed link, which went to the person asked alone."""
    return answer_question(person=person_of(question.asked_of), question=question, text=text)
