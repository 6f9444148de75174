"""The file of one person holds all that is kept of them and nothing of another."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.test import Client
from django.urls import reverse

from portal.accounts.access import allowed
from portal.jobs.models import Job
from portal.jobs.queries import jobs_of
from portal.jobs.working import work_off
from portal.privacy.collecting import file_of
from portal.privacy.downloads import own_files, request_file
from portal.privacy.kept import BY_ADDRESS
from surveys.models import Photo
from tests.conftest import Cast
from tests.factories import person_for
from tests.privacy.making import HELD, act_as, keep_everything_of, sign_in
from tests.second_factor import long_signed_in

pytestmark = pytest.mark.usefixtures("media")


@pytest.fixture
def media(settings: LazySettings, tmp_path: Path) -> Path:
    settings.MEDIA_ROOT = tmp_path
    return tmp_path


def unpacked(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as file:
        return {name: file.read(name) for name in file.namelist()}


def test_it_holds_all_that_is_kept_of_one_and_nothing_of_another(cast: Cast) -> None:
    one, other = keep_everything_of(cast.volunteer, cast), keep_everything_of(cast.other_volunteer, cast)
    for each in (one, other):
        act_as(each.user, cast)
    assert len(one.words) > 35
    files = unpacked(file_of(one.user))
    text, page = files["kept.json"].decode(), files["index.html"].decode()
    for words in (text, page):
        assert not {each for each in one.words | {one.user.email} if each not in words}
        assert not {each for each in other.words | {other.user.email, str(other.user.pk)} if each in words}
    photos = Photo.objects.of_group(cast.group).filter(added_by=one.user)
    assert {name for name in files if name.startswith("pictures/")} == {
        f"pictures/{each.pk}.jpg" for each in photos
    }


def test_its_json_tells_each_row_with_what_it_is(cast: Cast) -> None:
    keep_everything_of(cast.volunteer, cast)
    kept = json.loads(unpacked(file_of(cast.volunteer))["kept.json"])
    assert kept["hours"][0]["of"] == "people.OtherHours"
    given = {held.model for held in HELD if held.given and not held.owner.startswith(BY_ADDRESS)}
    assert given <= {row["of"] for rows in kept.values() for row in rows} | {
        "audit.AuditEntry",
        "alerts.IncidentEvent",
    }


def test_a_picture_whose_file_is_gone_does_not_spoil_it(cast: Cast, media: Path) -> None:
    keep_everything_of(cast.volunteer, cast)
    for each in media.rglob("*.jpg"):
        each.unlink()
    assert sorted(unpacked(file_of(cast.volunteer))) == ["index.html", "kept.json"]


def test_it_is_long_work_that_nobody_else_sees(cast: Cast) -> None:
    job = request_file(cast.person("volunteer"))
    assert job is not None
    work_off(job.pk)
    job.refresh_from_db()
    assert (job.state, job.file_name) == ("done", "kept-of-me.zip")
    coordinator = cast.person("coordinator")
    assert allowed(cast.person("volunteer"), "job.view", job)
    assert not allowed(coordinator, "job.view", job)
    assert not jobs_of(cast.group, coordinator).filter(pk=job.pk).exists()
    assert not own_files(coordinator).exists()
    assert request_file(cast.person("volunteer")) != job, "a new one is made when the last is done"


def test_whoever_was_asked_for_a_password_fetches_it(
    cast: Cast, client: Client, settings: LazySettings
) -> None:
    user = cast.volunteer
    user.set_password("three unrelated words")
    user.save()
    client.force_login(user)
    long_signed_in(client)
    answer = client.post(reverse("own_data"))
    assert answer["Location"].startswith(reverse("account_reauthenticate")), "a session alone is not enough"
    sign_in(client, user)
    assert client.post(reverse("own_data"))["Location"] == reverse("own_data")
    job = own_files(person_for(user)).get()
    assert client.get(reverse("own_data_file", args=[job.pk])).status_code == 404
    work_off(job.pk)
    answer = client.get(reverse("own_data_file", args=[job.pk]))
    assert user.email in unpacked(b"".join(answer))["kept.json"].decode()


def test_nobody_fetches_the_file_of_another(cast: Cast, client: Client) -> None:
    job = request_file(cast.person("volunteer"))
    assert job is not None
    work_off(job.pk)
    sign_in(client, cast.coordinator)
    assert client.get(reverse("own_data_file", args=[job.pk])).status_code == 404
    assert client.get(reverse("job_file", args=[cast.group.slug, job.pk])).status_code == 403


def test_somebody_of_no_group_gets_it_at_once(cast: Cast, client: Client) -> None:
    sign_in(client, cast.stranger)
    answer = client.post(reverse("own_data"))
    assert cast.stranger.email in unpacked(answer.content)["kept.json"].decode()
    assert not Job.objects.across_groups("test").exists()
