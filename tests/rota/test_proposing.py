"""A proposal is long work: ordered once, told step by step, stopped, and never half done."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from portal.accounts.models import Membership
from portal.jobs.models import Job
from portal.jobs.services import end_job
from portal.jobs.working import work_off
from surveys.errors import NotPossible
from surveys.rota import solving
from surveys.rota.models import PlannedVisit, Proposal
from surveys.rota.services import proposals
from surveys.rota.services.proposing import request_proposal
from surveys.rota.solving import Solution, solve
from tests.conftest import Cast
from tests.rota.conftest import ahead
from tests.rota.making import plan
from tests.rota.test_solving import slot, volunteer

pytestmark = pytest.mark.django_db


def order(cast: Cast, weeks: int = 4) -> Job:
    return request_proposal(
        person=cast.person("coordinator"), group=cast.group, first_day=ahead(1), weeks=weeks
    )


def drafts(cast: Cast) -> set[Any]:
    return set(PlannedVisit.objects.of_group(cast.group).filter(state="draft").values_list("pk", flat=True))


def meanwhile(monkeypatch: pytest.MonkeyPatch, act: Callable[[], object], times: int = 99) -> list[int]:
    """Have `act` happen while the solver works, the first so many times; how often it worked is counted."""
    worked: list[int] = []

    def slow(*args: Any, **kwargs: Any) -> Solution:
        worked.append(1)
        if len(worked) <= times:
            act()
        return solve(*args, **kwargs)

    monkeypatch.setattr(proposals, "solve", slow)
    return worked


def test_the_page_orders_it_and_shows_it_when_it_is_done(crew: Cast) -> None:
    client = Client()
    client.force_login(crew.coordinator)
    page = reverse("rota_draft", args=[crew.group.slug])
    data = {"first_day": ahead(1).isoformat(), "weeks": "2", "start": "09:30"}
    answer = client.post(page, data)
    job = Job.objects.of_group(crew.group).get()
    assert answer.url == reverse("job_detail", args=[crew.group.slug, job.pk])  # type: ignore[attr-defined]
    assert "A proposal is being made" in client.get(page).content.decode()
    assert drafts(crew) == set()
    work_off(job.pk)
    job.refresh_from_db()
    assert (job.state, job.link) == (Job.State.DONE, page)
    assert "is ready. Nobody is told before you publish it." in job.summary
    shown = client.get(page)
    assert {each.planned.start.hour for each in shown.context["plans"]} == {9}
    assert "A proposal is being made" not in shown.content.decode()


def test_ordered_twice_it_is_one_and_other_days_are_refused(crew: Cast) -> None:
    assert order(crew) == order(crew)
    with pytest.raises(NotPossible, match="for other days"):
        order(crew, weeks=5)


@pytest.mark.parametrize(("first", "weeks"), [(-1, 4), (400, 4), (1, 0), (1, 27)])
def test_what_cannot_be_planned_is_refused_before_it_is_ordered(crew: Cast, first: int, weeks: int) -> None:
    with pytest.raises(NotPossible):
        request_proposal(
            person=crew.person("coordinator"), group=crew.group, first_day=ahead(first), weeks=weeks
        )
    assert not Job.objects.of_group(crew.group).exists()


def test_stopped_it_leaves_the_earlier_draft_as_it_was(crew: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    work_off(order(crew).pk)
    before, job = drafts(crew), order(crew)
    assert before
    meanwhile(monkeypatch, lambda: end_job(job))
    work_off(job.pk)
    job.refresh_from_db()
    assert job.state == Job.State.STOPPED
    assert drafts(crew) == before


def test_whoever_is_no_coordinator_any_more_proposes_nothing(crew: Cast) -> None:
    job = order(crew)
    Membership.objects.of_group(crew.group).filter(user=crew.coordinator).update(role="volunteer")
    work_off(job.pk)
    job.refresh_from_db()
    assert "may not plan the rota any more" in job.problem
    assert drafts(crew) == set()


def test_what_changed_meanwhile_is_asked_anew(crew: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    worked = meanwhile(monkeypatch, lambda: plan(crew.site, ahead(2)), times=1)
    job = order(crew, weeks=1)
    work_off(job.pk)
    job.refresh_from_db()
    # The visit that came meanwhile answers the due one; without the second look it would be planned twice.
    assert (job.state, len(worked), drafts(crew)) == (Job.State.DONE, 2, set())


def test_a_rota_that_never_rests_is_said_to_be_one(crew: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    days = iter(range(2, 40, 9))
    worked = meanwhile(monkeypatch, lambda: plan(crew.site, ahead(next(days))))
    job = order(crew)
    work_off(job.pk)
    job.refresh_from_db()
    assert "is being changed just now" in job.problem
    assert (len(worked), drafts(crew)) == (proposals.MOST_TRIES, set())
    assert not Proposal.objects.of_group(crew.group).exists()


def test_the_solver_tells_how_long_it_works_and_ends_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(solving, "TELL_S", 0.02)
    told: list[float] = []

    class Enough(Exception):
        pass

    def tell(seconds: float) -> None:
        told.append(seconds)
        if len(told) == 3:
            raise Enough

    crowd = [volunteer(f"V{n}", most_a_month=3, home=(54.3 + n / 40, -2.5)) for n in range(30)]
    wanted = [slot(due=3 + n // 3, spread=3) for n in range(60)]
    with pytest.raises(Enough):
        solve(wanted, crowd, tell=tell)
    assert told == sorted(told)
    assert told[-1] < 5
