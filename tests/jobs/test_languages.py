"""Long work is done in the language in which it was ordered, whatever the worker's."""

from __future__ import annotations

import pytest
from django.utils import translation
from django.utils.translation import get_language

from portal.jobs.models import Job
from portal.jobs.services import request_job
from portal.jobs.working import MOST_ATTEMPTS, work_off
from tests.conftest import Cast
from tests.jobs.conftest import Register, again
from tests.language.pseudo import everything_marked

pytestmark = pytest.mark.django_db


def order(cast: Cast, *, by_operator: bool = False) -> Job:
    person = None if by_operator else cast.person("coordinator")
    return request_job(person=person, group=cast.group, kind="test", parameters={}, label="Work")


def language_at_work(job: Job, register: Register) -> str | None:
    spoken: list[str | None] = []
    register(lambda _job, _progress: spoken.append(get_language()))
    with translation.override("en-gb"):
        work_off(job.pk)
        assert get_language() == "en-gb"
    return spoken[0]


def test_it_is_done_in_the_language_it_was_ordered_in(cast: Cast, register: Register) -> None:
    with translation.override("de"):
        job = order(cast)
    assert language_at_work(job, register) == "de"


def test_what_the_operator_orders_is_done_in_the_groups_language(cast: Cast, register: Register) -> None:
    cast.group.language = "de"
    cast.group.save()
    assert language_at_work(order(cast, by_operator=True), register) == "de"


def test_a_language_that_is_spoken_no_more_becomes_the_groups(cast: Cast, register: Register) -> None:
    job = order(cast)
    Job.objects.of_group(cast.group).filter(pk=job.pk).update(language="fr")
    assert language_at_work(job, register) == "en-gb"


@pytest.mark.parametrize("attempts", [0, MOST_ATTEMPTS])
def test_why_it_failed_is_told_in_that_language(cast: Cast, register: Register, attempts: int) -> None:
    def break_off(_job: Job, _progress: object) -> None:
        raise ZeroDivisionError

    register(break_off)
    with everything_marked():
        job = order(cast)
        Job.objects.of_group(cast.group).filter(pk=job.pk).update(attempts=attempts)
        with translation.override("en-gb"):
            work_off(job.pk)
    assert again(job).state == Job.State.FAILED
    assert again(job).problem.startswith("⟦")
