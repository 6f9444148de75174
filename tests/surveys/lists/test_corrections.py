"""A new version of a list: what it concerns. Visits stay with theirs, unless that was a mistake."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from alerts.models import Incident, Trigger, Verdict
from portal.accounts.walls import carried
from portal.audit.services import history_of
from portal.jobs.models import Job
from portal.jobs.working import work_off
from portal.outbox.models import Message
from surveys.lists.lines import read_lines, text_of
from surveys.models import RecordingList, Visit
from surveys.scores.judging import NO_METHOD
from surveys.scores.rescoring import rescore_visits, visits_to_rescore
from surveys.services import rescoring as services
from surveys.services.lists import change_list, create_list
from surveys.services.rescoring import request_rescoring
from surveys.services.visits import correct_visit
from surveys.submission.writing import submission_of
from tests.conftest import Cast
from tests.factories import CLEAN_COUNTS, days_ago, family_list, submit

pytestmark = pytest.mark.django_db

SHORT = "Heptageniidae\nBaetidae\nChironomidae"


@pytest.fixture
def short(cast: Cast) -> RecordingList:
    """A list that supports no BMWP, in use at the site."""
    made = create_list(
        person=cast.person("coordinator"), group=cast.group, name="Ours", lines=read_lines(SHORT)
    )
    cast.site.recording_list = made
    cast.site.save()
    return made


@pytest.fixture
def visit(cast: Cast, short: RecordingList) -> Visit:
    """A visit on it, of all the families that the group has looked for in truth."""
    return submit(cast.person("volunteer"), cast.site, counts=CLEAN_COUNTS)


def whole() -> str:
    """A list as long as that of all families."""
    return text_of(family_list().taxa.all())


def replace(cast: Cast, old: RecordingList, text: str, *, puts_right: bool) -> RecordingList:
    return change_list(
        person=cast.person("coordinator"),
        recording_list=old,
        name=old.name,
        lines=read_lines(text),
        puts_right=puts_right,
    )


def again(visit: Visit) -> Visit:
    return Visit.objects.of_group(visit.group).get(pk=visit.pk)


def bmwp(visit: Visit) -> tuple[str, float | None]:
    score = visit.scores.get(index="bmwp", is_current=True)
    return score.version, score.value


def the_run(cast: Cast) -> Job:
    return Job.objects.of_group(cast.group).get()


class TestOrdinaryChange:
    def test_it_leaves_earlier_visits_with_their_version_and_scores(
        self, cast: Cast, short: RecordingList, visit: Visit
    ) -> None:
        replace(cast, short, whole(), puts_right=False)
        assert again(visit).recording_list == short
        assert bmwp(visit) == (NO_METHOD, None)
        assert not Job.objects.of_group(cast.group).exists()
        assert not visits_to_rescore(cast.group).exists()

    def test_a_later_correction_scores_by_the_visits_own_version(
        self, cast: Cast, short: RecordingList, visit: Visit
    ) -> None:
        replace(cast, short, whole(), puts_right=False)
        old, person = again(visit), cast.person("coordinator")
        found = submission_of(old)
        changed = found.__class__(**{**found.__dict__, "notes": "Seen again."})
        correct_visit(person=person, visit=old, submission=changed, reason="A note was missing.")
        assert (again(visit).recording_list, bmwp(visit)) == (short, (NO_METHOD, None))

    def test_a_run_scores_each_visit_by_its_own_version(
        self, cast: Cast, short: RecordingList, visit: Visit
    ) -> None:
        replace(cast, short, whole(), puts_right=False)
        cast.site.refresh_from_db()
        later = submit(cast.person("volunteer"), cast.site, counts=CLEAN_COUNTS)
        for each in (visit, later):
            each.scores.all().delete()
        work_off(request_rescoring(person=None, group=cast.group, reason="test").pk)
        assert (bmwp(visit)[1], bmwp(later)[1]) == (None, 48)


class TestPuttingRight:
    def test_it_takes_the_visits_over_and_scores_them_by_the_new_version(
        self, cast: Cast, short: RecordingList, visit: Visit
    ) -> None:
        new = replace(cast, short, whole(), puts_right=True)
        assert again(visit).recording_list == new
        assert bmwp(visit) == (NO_METHOD, None)
        work_off(the_run(cast).pk)
        assert bmwp(visit)[1] == 48
        assert visit.scores.filter(index="bmwp", is_current=False, value=None).count() == 1
        assert not visits_to_rescore(cast.group).exists()

    def test_it_takes_a_score_back_that_the_right_list_cannot_support(self, cast: Cast) -> None:
        old = create_list(
            person=cast.person("coordinator"), group=cast.group, name="Long", lines=read_lines(whole())
        )
        cast.site.recording_list = old
        cast.site.save()
        visit = submit(cast.person("volunteer"), cast.site)
        replace(cast, old, SHORT, puts_right=True)
        work_off(the_run(cast).pk)
        score = visit.scores.get(index="bmwp", is_current=True)
        assert (score.value, "fewer than half" in score.why_none) == (None, True)

    def test_it_says_who_did_it_and_why_with_each_visit(
        self, cast: Cast, short: RecordingList, visit: Visit
    ) -> None:
        replace(cast, short, whole(), puts_right=True)
        entry = history_of(visit, cast.group).last()
        assert entry is not None
        assert (entry.verb, entry.actor_id) == ("visit.list_put_right", cast.coordinator.pk)
        assert entry.changes == {"recording_list": ["Ours 1", "Ours 2"]}
        assert entry.reason == the_run(cast).reason == "Version 2 of the list “Ours” puts version 1 right."

    def test_it_touches_no_visit_of_another_list_or_group(self, cast: Cast, short: RecordingList) -> None:
        cast.site.recording_list = family_list()
        cast.site.save()
        other = submit(cast.person("volunteer"), cast.site)
        elsewhere = submit(cast.person("neighbour_volunteer"), cast.neighbour_site)
        replace(cast, short, whole(), puts_right=True)
        assert again(other).recording_list == again(elsewhere).recording_list == family_list()
        assert not Job.objects.of_group(cast.group).exists()

    def test_it_leaves_visits_of_still_earlier_versions(
        self, cast: Cast, short: RecordingList, visit: Visit
    ) -> None:
        second = replace(cast, short, SHORT + "\nElmidae", puts_right=False)
        replace(cast, second, whole(), puts_right=True)
        assert again(visit).recording_list == short

    def test_it_sends_no_alert_for_what_the_new_scores_say(
        self, cast: Cast, short: RecordingList, visit: Visit
    ) -> None:
        Trigger.objects.create(
            group=cast.group, site=cast.site, index="bmwp", level=60, valid_from=days_ago(30), reason="test"
        )
        replace(cast, short, whole(), puts_right=True)
        work_off(the_run(cast).pk)
        assert Verdict.objects.filter(group=cast.group).get(visit=visit).outcome == "not_tested"
        assert not Incident.objects.filter(group=cast.group).exists()
        assert not Message.objects.filter(group=cast.group).exists()

    def test_a_run_under_way_takes_up_visits_that_come_behind_its_back(
        self, cast: Cast, short: RecordingList, visit: Visit, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        visit.scores.filter(index="bmwp").delete()
        run = request_rescoring(person=None, group=cast.group, reason="test")
        batches: list[Any] = []

        def change_in_between(**given: Any) -> int:
            answer = rescore_visits(**given)
            if not batches:
                replace(cast, short, whole(), puts_right=True)
            batches.append(given["visits"])
            return answer

        monkeypatch.setattr(services, "rescore_visits", change_in_between)
        work_off(run.pk)
        assert batches == [[visit.pk], [visit.pk]]
        assert (the_run(cast).state, the_run(cast).done, bmwp(visit)[1]) == ("done", 2, 48)


class TestPages:
    def edit(self, client: Client, cast: Cast, shown: RecordingList, **data: str) -> Any:
        client.force_login(cast.coordinator)
        address = reverse("list_edit", kwargs={"slug": cast.group.slug, "list_id": shown.pk})
        return client.post(address, {"name": shown.name, "lines": whole(), **data}, follow=True)

    @pytest.mark.parametrize(("data", "runs"), [({}, 0), ({"puts_right": "on"}, 1)])
    def test_the_coordinator_says_whether_it_was_a_mistake(
        self, client: Client, cast: Cast, short: RecordingList, visit: Visit, data: dict[str, str], runs: int
    ) -> None:
        assert self.edit(client, cast, short, **data).status_code == 200
        assert Job.objects.of_group(cast.group).count() == runs

    def test_it_keeps_the_tick_beside_a_line_that_cannot_be_read(
        self, client: Client, cast: Cast, short: RecordingList
    ) -> None:
        answer = self.edit(client, cast, short, puts_right="on", lines="Baetidea")
        assert answer.status_code == 422
        assert "checked" in answer.content.decode()

    def test_a_first_version_has_nothing_to_put_right(self, client: Client, cast: Cast) -> None:
        client.force_login(cast.coordinator)
        page = client.get(reverse("list_create", kwargs={"slug": cast.group.slug})).content.decode()
        assert "puts_right" not in page

    def test_the_list_says_what_a_new_version_concerns(
        self, client: Client, cast: Cast, short: RecordingList
    ) -> None:
        client.force_login(cast.volunteer)
        address = reverse("list_detail", kwargs={"slug": cast.group.slug, "list_id": short.pk})
        assert "Visits keep the version of the list they were made on" in client.get(address).content.decode()

    def test_the_visit_says_that_its_list_was_put_right(
        self, client: Client, cast: Cast, short: RecordingList, visit: Visit
    ) -> None:
        self.edit(client, cast, short, puts_right="on")
        address = reverse("visit_detail", kwargs={"slug": cast.group.slug, "visit_id": visit.pk})
        page = client.get(address).content.decode()
        assert "Put on the new version of its recording list" in page
        assert "puts version 1 right" in page


@pytest.mark.django_db(transaction=True)
def test_a_visit_sent_in_at_the_same_time_does_not_deadlock(cast: Cast) -> None:
    family_list()
    old = create_list(person=cast.person("coordinator"), group=cast.group, name="Ours", lines=read_lines(SHORT))
    cast.site.recording_list = old
    cast.site.save()
    failures: list[BaseException] = []

    def send(number: int) -> None:
        try:
            submit(cast.person("volunteer"), cast.site, counts={"Baetidae": number + 1})
        except BaseException as failure:
            failures.append(failure)
        finally:
            connection.close()

    senders = [threading.Thread(target=carried(send), args=[number]) for number in range(6)]
    for each in senders:
        each.start()
    replace(cast, old, SHORT + "\nElmidae", puts_right=True)
    for each in senders:
        each.join()
    assert failures == []
    assert Visit.objects.of_group(cast.group).count() == 6
