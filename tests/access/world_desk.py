"""What the pages of desk and review need in the world: a question that the volunteer is asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from surveys.models import VisitQuestion
from surveys.review.links import QUESTION
from tests.conftest import Cast

if TYPE_CHECKING:
    from tests.access.world import World


def add_desk(world: World, cast: Cast) -> None:
    question = VisitQuestion.objects.create(
        visit_id=world.special["visit_mend"]["visit_id"],
        text="Which pool was spot 2?",
        asked_by=cast.coordinator,
        asked_of=cast.volunteer,
    )
    world.values["question_id"] = question.pk
    world.special["question_link"] = {"token": QUESTION.make(question.pk)}
