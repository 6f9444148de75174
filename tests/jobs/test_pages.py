"""The pages of long work."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from portal.accounts.models import User
from portal.jobs.kinds import JobProblem, Outcome
from portal.jobs.models import Job
from portal.jobs.services import end_job, remove_old_files
from portal.jobs.working import Progress, work_off
from tests.conftest import Cast
from tests.jobs.conftest import Register, again

pytestmark = pytest.mark.django_db


def address(name: str, job: Job) -> str:
    return reverse(name, args=[job.group.slug, job.pk])


def page(client: Client, user: User, name: str, job: Job, **more: Any) -> str:
    client.force_login(user)
    return client.get(address(name, job), **more).content.decode()


def test_it_shows_how_far_it_is(client: Client, cast: Cast, job: Job) -> None:
    Job.objects.of_group(job.group).update(state="running", done=2, total=5, step="Reading rows")
    text = page(client, cast.coordinator, "job_detail", job)
    assert "Reading rows" in text
    assert 'value="2" max="5"' in text
    assert address("job_progress", job) in text
    assert address("job_stop", job) in text


def test_an_unknown_amount_shows_no_figure(client: Client, cast: Cast, job: Job) -> None:
    assert "value=" not in page(client, cast.coordinator, "job_progress", job)


def test_the_whole_page_is_read_anew_at_the_end(client: Client, cast: Cast, job: Job) -> None:
    client.force_login(cast.coordinator)
    assert "HX-Refresh" not in client.get(address("job_progress", job))
    end_job(job)
    assert client.get(address("job_progress", job))["HX-Refresh"] == "true"


def test_a_button_stops_it(client: Client, cast: Cast, job: Job) -> None:
    client.force_login(cast.coordinator)
    answer = client.post(address("job_stop", job), follow=True)
    assert "It is stopped" in answer.content.decode()
    assert again(job).state == "stopped"
    assert "It is over already" in client.post(address("job_stop", job), follow=True).content.decode()


def test_what_went_wrong_is_said(client: Client, cast: Cast, job: Job, register: Register) -> None:
    def handler(_job: Job, _progress: Progress) -> None:
        raise JobProblem("Row 3 has no date.")

    register(handler)
    work_off(job.pk)
    assert "Row 3 has no date." in page(client, cast.coordinator, "job_detail", job)


def test_its_file_is_fetched_while_it_is_kept(client: Client, cast: Cast, job: Job, register: Register) -> None:
    register(lambda _job, _progress: Outcome(content=b"a,b", file_name="rows.csv", link="/there/"))
    work_off(job.pk)
    text = page(client, cast.coordinator, "job_detail", job)
    assert "Fetch rows.csv" in text
    assert 'href="/there/"' in text
    answer = client.get(address("job_file", job))
    assert b"".join(answer.streaming_content) == b"a,b"  # type: ignore[attr-defined]
    assert 'filename="rows.csv"' in answer["Content-Disposition"]

    until = again(job).file_until
    assert until is not None
    remove_old_files(until.replace(year=until.year + 1))
    assert client.get(address("job_file", job)).status_code == 404
    assert "is gone" in page(client, cast.coordinator, "job_detail", job)


def test_a_volunteer_sees_their_own_only(client: Client, cast: Cast, job: Job) -> None:
    client.force_login(cast.volunteer)
    listed = client.get(reverse("job_list", args=[cast.group.slug])).content.decode()
    assert job.label not in listed
    assert "Nothing was ordered so far" in listed
    assert client.get(address("job_detail", job)).status_code == 403


def test_coordinators_see_everybodys(client: Client, cast: Cast, job: Job) -> None:
    client.force_login(cast.second_coordinator)
    listed = client.get(reverse("job_list", args=[cast.group.slug])).content.decode()
    assert address("job_detail", job) in listed
    assert "Cora Example" in listed


@pytest.mark.parametrize("name", ["job_list", "job_detail", "job_progress"])
def test_it_asks_the_database_the_same_for_many_jobs(
    client: Client, cast: Cast, job: Job, name: str, django_assert_max_num_queries: Any
) -> None:
    Job.objects.bulk_create(
        Job(group=cast.group, kind="test", label=f"Work {number}", started_by=cast.volunteer)
        for number in range(40)
    )
    client.force_login(cast.coordinator)
    page = reverse(name, args=[cast.group.slug, *([job.pk] if name != "job_list" else [])])
    with django_assert_max_num_queries(6):
        assert client.get(page).status_code == 200
