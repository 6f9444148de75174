"""Scoring saved visits anew: what needs it, in batches, resumed and stopped."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.accounts.models import Group
from portal.audit.services import history_of
from portal.jobs import working
from portal.jobs.models import Job
from portal.jobs.services import stalled_jobs
from portal.jobs.tasks import resume_jobs, run_job
from portal.jobs.working import work_off
from scoring import indices
from scoring.indices import METHODS
from scoring.sentences import NO_SCORING_TAXON
from surveys.errors import NotPossible
from surveys.lists.recording import reasons_of
from surveys.models import Visit, VisitScore
from surveys.scores import rescoring
from surveys.scores.judging import NO_METHOD
from surveys.scores.rescoring import rescore_visits, visits_to_rescore
from surveys.services import rescoring as services
from surveys.services.built_in_lists import ensure_bankside_list
from surveys.services.rescoring import request_rescoring
from surveys.signals import visit_judged
from tests.conftest import Cast
from tests.factories import VisitFactory, days_ago, submit

pytestmark = pytest.mark.django_db
State = Job.State


def outdate(group: Group, index: str = "bmwp", value: float | None = None) -> None:
    """Make the scores of one index look as if an earlier version had made them."""
    scores = VisitScore.objects.of_group(group).filter(index=index)
    scores.update(version="0", **({} if value is None else {"value": value}))


def visits(cast: Cast, number: int = 3) -> list[Visit]:
    person = cast.person("volunteer")
    return [
        submit(person, cast.site, visited_on=days_ago(number + 1 - each).isoformat()) for each in range(number)
    ]


def on_bankside_list(cast: Cast, visit: Visit) -> None:
    """Put a visit on the list of six groups, without scoring it by that."""
    Visit.objects.of_group(cast.group).filter(pk=visit.pk).update(recording_list=ensure_bankside_list())


def ordered(cast: Cast) -> Job:
    return request_rescoring(person=cast.person("coordinator"), group=cast.group, reason="New version.")


def again(run: Job) -> Job:
    return Job.objects.of_group(run.group).get(pk=run.pk)


def ids(group: Group) -> set[Any]:
    return set(visits_to_rescore(group).values_list("pk", flat=True))


class TestWhich:
    def test_it_finds_nothing_where_all_is_present(self, cast: Cast) -> None:
        visits(cast)
        assert ids(cast.group) == set()

    def test_it_finds_visits_of_another_version(self, cast: Cast) -> None:
        old = visits(cast, 1)
        outdate(cast.group)
        visits(cast, 2)
        assert ids(cast.group) == {old[0].pk}

    def test_it_finds_visits_that_lack_an_index(self, cast: Cast) -> None:
        (visit,) = visits(cast, 1)
        visit.scores.filter(index="bankside").delete()
        assert ids(cast.group) == {visit.pk}

    def test_it_finds_visits_without_any_score(self, cast: Cast) -> None:
        bare = VisitFactory(site=cast.site)
        assert ids(cast.group) == {bare.pk}

    def test_it_leaves_out_visits_not_made_and_other_groups(self, cast: Cast) -> None:
        VisitFactory(site=cast.site, was_made=False, not_made_reason="dry")
        VisitFactory(site=cast.neighbour_site)
        assert ids(cast.group) == set()

    def test_a_new_version_of_a_method_concerns_every_visit_whose_list_supports_it(
        self, cast: Cast, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        found = visits(cast, 2)
        on_bankside_list(cast, submit(cast.person("volunteer"), cast.site))
        rescore_visits(person=None, group=cast.group, visits=ids(cast.group))
        newer = dict(METHODS) | {"bmwp": replace(METHODS["bmwp"], version="new")}
        monkeypatch.setattr(rescoring, "METHODS", newer)
        assert ids(cast.group) == {visit.pk for visit in found}

    def test_it_finds_a_visit_with_a_value_that_its_list_cannot_support(self, cast: Cast) -> None:
        # As visits were scored before lists said what they support: by every method, whatever the list.
        (visit,) = visits(cast, 1)
        on_bankside_list(cast, visit)
        assert ids(cast.group) == {visit.pk}

    def test_it_finds_a_visit_without_a_value_that_its_list_supports(self, cast: Cast) -> None:
        (visit,) = visits(cast, 1)
        visit.scores.filter(index="bmwp").update(version=NO_METHOD, value=None, why_none="Not on the list.")
        assert ids(cast.group) == {visit.pk}

    def test_it_finds_a_visit_that_gives_another_reason_than_its_list(self, cast: Cast) -> None:
        (visit,) = visits(cast, 1)
        on_bankside_list(cast, visit)
        rescore_visits(person=None, group=cast.group, visits=[visit.pk])
        assert ids(cast.group) == set()
        visit.scores.filter(index="bmwp", is_current=True).update(why_none="The list has 5 of the 85 taxa.")
        assert ids(cast.group) == {visit.pk}

    def test_it_ignores_an_index_that_no_method_gives_any_more(self, cast: Cast) -> None:
        (visit,) = visits(cast, 1)
        visit.scores.create(index="gone", version="1", value=3)
        assert ids(cast.group) == set()


class TestBatch:
    def rescore(self, cast: Cast) -> int:
        return rescore_visits(person=None, group=cast.group, visits=ids(cast.group))

    def test_it_keeps_the_earlier_score(self, cast: Cast) -> None:
        (visit,) = visits(cast, 1)
        outdate(cast.group, value=1)
        assert self.rescore(cast) == 1
        found = visit.scores.filter(index="bmwp").order_by("pk")
        assert [(each.value, each.version, each.is_current) for each in found] == [
            (1, "0", False),
            (48, METHODS["bmwp"].version, True),
        ]

    def test_it_leaves_what_is_present_as_it_is(self, cast: Cast) -> None:
        (visit,) = visits(cast, 1)
        outdate(cast.group)
        self.rescore(cast)
        assert visit.scores.count() == len(METHODS) + 1

    def test_it_does_nothing_the_second_time(self, cast: Cast) -> None:
        found = visits(cast, 2)
        outdate(cast.group)
        self.rescore(cast)
        assert rescore_visits(person=None, group=cast.group, visits=[each.pk for each in found]) == 0

    def test_it_touches_no_visit_of_another_group(self, cast: Cast) -> None:
        other = submit(cast.person("neighbour_volunteer"), cast.neighbour_site)
        outdate(cast.neighbour)
        assert rescore_visits(person=None, group=cast.group, visits=[other.pk]) == 0
        assert other.scores.get(index="bmwp").version == "0"

    def test_it_scores_by_ranges_and_shares_as_at_submission(self, cast: Cast) -> None:
        counts = [{"taxon": "Baetidae", "count": "12"}, {"taxon": "Perlidae", "count": "2", "whole_tray": True}]
        visit = submit(cast.person("volunteer"), cast.site, fraction_sorted="1/4", counts=counts)
        before = visit.scores.get(index="shannon")
        outdate(cast.group, "shannon")
        self.rescore(cast)
        after = visit.scores.get(index="shannon", is_current=True)
        assert (after.value, after.low, after.high) == (before.value, before.low, before.high)

    def test_it_scores_only_what_is_asked_for(self) -> None:
        assert list(indices.score_sample([], only=["bmwp"])) == ["bmwp"]

    def test_it_says_so_where_the_new_version_has_no_value(self, cast: Cast) -> None:
        (visit,) = visits(cast, 1)
        outdate(cast.group, "aspt")
        visit.counts.all().delete()
        self.rescore(cast)
        old, new = visit.scores.filter(index="aspt").order_by("pk")
        assert not old.is_current
        assert old.value == pytest.approx(48 / 7)
        assert (new.is_current, new.value, new.why_none) == (True, None, NO_SCORING_TAXON)

    def test_it_takes_back_a_value_that_the_list_cannot_support(self, cast: Cast) -> None:
        (visit,) = visits(cast, 1)
        on_bankside_list(cast, visit)
        self.rescore(cast)
        kept = {each.index: each for each in visit.scores.filter(is_current=True)}
        reasons = reasons_of(ensure_bankside_list())
        assert set(kept) == set(METHODS)
        assert {index: each.why_none for index, each in kept.items()} == dict(reasons)
        assert {index for index, each in kept.items() if each.value is not None} == {"bankside"}
        assert {each.version for index, each in kept.items() if reasons[index]} == {NO_METHOD}
        assert visit.scores.get(index="bmwp", is_current=False).value == 48

    def test_it_gives_back_a_value_when_the_list_supports_it_again(self, cast: Cast) -> None:
        (visit,) = visits(cast, 1)
        on_bankside_list(cast, visit)
        self.rescore(cast)
        Visit.objects.of_group(cast.group).update(recording_list=cast.site.recording_list)
        self.rescore(cast)
        assert visit.scores.get(index="bmwp", is_current=True).value == 48
        assert ids(cast.group) == set()

    def test_it_tells_once_of_a_batch(self, cast: Cast) -> None:
        found = visits(cast, 3)
        outdate(cast.group)
        told: list[dict[str, Any]] = []

        def listener(**heard: Any) -> None:
            told.append(heard)

        visit_judged.connect(listener)
        try:
            self.rescore(cast)
            self.rescore(cast)
        finally:
            visit_judged.disconnect(listener)
        assert [(each["event"], each["group"], set(each["visits"])) for each in told] == [
            ("rescored", cast.group, {visit.pk for visit in found})
        ]

    def test_it_scores_a_visit_that_had_no_score_at_all(self, cast: Cast) -> None:
        bare = VisitFactory(site=cast.site)
        assert self.rescore(cast) == 1
        assert bare.scores.filter(is_current=True).count() == len(METHODS)
        assert bare.scores.get(index="bmwp").value == 0

    @pytest.mark.parametrize("many", [1, 5])
    def test_it_takes_a_fixed_number_of_queries(
        self, cast: Cast, django_assert_num_queries: Any, many: int
    ) -> None:
        visits(cast, many)
        outdate(cast.group)
        numbers = ids(cast.group)
        # Four of them write the scores: COPY is refused by a table with policies, so it fills a temporary one,
        # which is made, taken over and dropped.
        with django_assert_num_queries(15):
            rescore_visits(person=None, group=cast.group, visits=numbers)


class TestRun:
    def test_it_works_off_every_visit_in_batches(self, cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(services, "BATCH", 2)
        visits(cast, 5)
        outdate(cast.group)
        run = ordered(cast)
        assert (run.state, run.done, run.total) == (State.QUEUED, 0, 5)
        run_job(str(run.pk))
        assert (again(run).state, again(run).done, again(run).total) == (State.DONE, 5, 5)
        assert ids(cast.group) == set()
        assert [each.verb for each in history_of(run, cast.group)] == ["job.requested", "job.done"]

    def test_it_gives_the_run_under_way_to_whoever_asks_again(self, cast: Cast) -> None:
        assert ordered(cast) == ordered(cast)

    def test_it_needs_a_reason_and_a_coordinator(self, cast: Cast) -> None:
        with pytest.raises(NotPossible):
            request_rescoring(person=cast.person("coordinator"), group=cast.group, reason=" ")
        with pytest.raises(PermissionDenied):
            request_rescoring(person=cast.person("volunteer"), group=cast.group, reason="x")

    def test_it_stops_after_the_present_batch(self, cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(services, "BATCH", 1)
        visits(cast, 3)
        outdate(cast.group)
        run = ordered(cast)
        real = rescoring.rescore_visits

        def stop_in_between(**given: Any) -> int:
            answer = real(**given)
            Job.objects.of_group(cast.group).update(state=State.STOPPED, claimed_until=None)
            return answer

        monkeypatch.setattr(services, "rescore_visits", stop_in_between)
        work_off(run.pk)
        assert (again(run).state, again(run).done, len(ids(cast.group))) == (State.STOPPED, 1, 2)

    def test_the_sweep_goes_on_where_a_dead_worker_stood(
        self, cast: Cast, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(services, "BATCH", 1)
        visits(cast, 3)
        outdate(cast.group)
        run = ordered(cast)
        real, calls = rescoring.rescore_visits, []

        def die_at_the_second(**given: Any) -> int:
            calls.append(given)
            if len(calls) == 2:
                raise KeyboardInterrupt
            return real(**given)

        monkeypatch.setattr(services, "rescore_visits", die_at_the_second)
        with pytest.raises(KeyboardInterrupt):
            work_off(run.pk)
        assert (again(run).state, again(run).done) == (State.RUNNING, 1)
        assert stalled_jobs() == []
        Job.objects.of_group(cast.group).update(claimed_until=timezone.now() - timedelta(seconds=1))
        monkeypatch.setattr(services, "rescore_visits", real)
        resume_jobs()
        assert (again(run).state, again(run).done, again(run).total) == (State.DONE, 3, 3)

    def test_nobody_takes_a_run_that_another_worker_holds(self, cast: Cast) -> None:
        visits(cast, 1)
        outdate(cast.group)
        run = ordered(cast)
        until = timezone.now() + timedelta(minutes=1)
        Job.objects.of_group(cast.group).update(state=State.RUNNING, claimed_until=until)
        work_off(run.pk)
        assert again(run).done == 0

    def test_it_gives_up_after_many_attempts(self, cast: Cast) -> None:
        run = ordered(cast)
        Job.objects.of_group(cast.group).update(attempts=working.MOST_ATTEMPTS)
        work_off(run.pk)
        assert again(run).state == State.FAILED

    def test_the_command_scores_one_group_or_all(self, cast: Cast) -> None:
        visits(cast, 2)
        submit(cast.person("neighbour_volunteer"), cast.neighbour_site)
        outdate(cast.group)
        outdate(cast.neighbour)
        out = StringIO()
        call_command("rescore_visits", group="alder-beck", stdout=out)
        assert out.getvalue() == "alder-beck: 2 of 2 visits scored anew, finished\n"
        assert len(ids(cast.neighbour)) == 1
        call_command("rescore_visits", stdout=out)
        assert "withy-brook: 1 of 1 visits scored anew" in out.getvalue()

    def test_the_command_knows_no_other_group(self, cast: Cast) -> None:
        with pytest.raises(CommandError, match="no group nowhere"):
            call_command("rescore_visits", group="nowhere")


class TestPages:
    def address(self, cast: Cast, name: str, **more: Any) -> str:
        return reverse(name, kwargs={"slug": cast.group.slug, **more})

    def test_it_orders_a_run_with_its_reason(self, client: Client, cast: Cast) -> None:
        visits(cast, 2)
        outdate(cast.group)
        client.force_login(cast.coordinator)
        assert (
            "2 visits have scores of another version"
            in client.get(self.address(cast, "rescore_list")).content.decode()
        )
        assert client.post(self.address(cast, "rescore_list"), {"reason": ""}).status_code == 422
        answer = client.post(self.address(cast, "rescore_list"), {"reason": "New version."})
        run = Job.objects.of_group(cast.group).get()
        assert answer.url == self.address(cast, "job_detail", job_id=run.pk)  # type: ignore[attr-defined]
        assert run.started_by == cast.coordinator
        assert "see how far it is" in client.get(self.address(cast, "rescore_list")).content.decode()

    def test_it_says_when_all_is_up_to_date(self, client: Client, cast: Cast) -> None:
        client.force_login(cast.coordinator)
        assert "Up to date" in client.get(self.address(cast, "rescore_list")).content.decode()
