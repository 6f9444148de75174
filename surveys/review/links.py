"""The signed link by which somebody answers a question about their visit straight from the mail."""

from __future__ import annotations

from portal.accounts.models import Membership
from portal.accounts.signed_links import DeadLink, SignedLink
from surveys.models import VisitQuestion

QUESTION = SignedLink("surveys.visit-question", days=60)


def question_url(question: VisitQuestion) -> str:
    """The whole address for the mail."""
    return QUESTION.address("question_link", question.pk)


def read_question(token: str) -> VisitQuestion:
    """Open a token; raises Http404 for one we never made, DeadLink after 60 days or when the member left."""
    rows = VisitQuestion.objects.across_groups("the signature names the question")
    found = rows.select_related("asked_by", "asked_of", "visit__site", "visit__group")
    question = found.filter(pk=QUESTION.read_id(token)).first()
    if question is None or not _is_still_there(question):
        raise DeadLink
    return question


def _is_still_there(question: VisitQuestion) -> bool:
    present = Membership.objects.of_group(question.visit.group).filter(left_at=None)
    return present.filter(user=question.asked_of_id, user__is_active=True).exists()
