"""Every entry says how it came; where from is kept beside it, and not for ever."""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from celery.signals import task_postrun, task_prerun
from django.conf import LazySettings
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.accounts.services import INVITATION, invite_person
from portal.audit.addresses import addresses_of, erase_addresses_of, erase_old_addresses
from portal.audit.models import AuditEntry, EntryAddress
from portal.audit.origins import UNKNOWN, Way, came_by, coming_from, origin
from portal.audit.services import record_change, record_change_of_each
from portal.audit.verifying import verify_trail
from portal.audit.words import way_of
from portal.jobs.kinds import Outcome, job_kind
from portal.jobs.models import Job
from portal.jobs.working import work_off
from portal.tokens.services import make_key
from surveys.histories import trail_of
from tests.commands import in_own_process
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
CLIENT = "203.0.113.9"


def newest(verb: str) -> AuditEntry:
    return AuditEntry.objects.across_groups("test").filter(verb=verb).order_by("-at")[0]


def change_site(cast: Cast, client: Client, **how: Any) -> AuditEntry:
    address = reverse("api_site", args=[cast.group.slug, cast.site.pk])
    answer = client.patch(address, {"name": "New ford"}, content_type="application/json", **how)
    assert answer.status_code == 200, answer.content
    return newest("site.changed")


def test_a_page_says_so_and_tells_the_address(cast: Cast, client: Client) -> None:
    client.force_login(cast.coordinator)
    entry = change_site(cast, client, REMOTE_ADDR=CLIENT)
    assert (entry.way, entry.way_detail, addresses_of([entry])) == (Way.PAGE, "", {entry.pk: CLIENT})
    assert origin() == UNKNOWN, "the next request would be taken for this one"


def test_the_address_is_the_one_that_our_proxies_tell(
    cast: Cast, client: Client, settings: LazySettings
) -> None:
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1
    client.force_login(cast.coordinator)
    entry = change_site(cast, client, headers={"X-Forwarded-For": f"192.0.2.66, {CLIENT}"})
    assert addresses_of([entry]) == {entry.pk: CLIENT}, "anybody can write what stands before"


def test_an_address_that_cannot_be_told_keeps_nobody_out(cast: Cast, client: Client) -> None:
    client.force_login(cast.coordinator)
    entry = change_site(cast, client, REMOTE_ADDR="a socket")
    assert (entry.way, addresses_of([entry])) == (Way.PAGE, {})


def test_a_program_is_told_by_the_name_of_its_key(cast: Cast, client: Client) -> None:
    made = make_key(
        person=cast.person("coordinator"),
        name="weather station",
        scopes=["write:sites"],
        days=1,
        with_second_factor=True,
    )
    entry = change_site(cast, client, headers={"Authorization": f"Bearer {made.text}"})
    assert (entry.way, entry.way_detail) == (Way.INTERFACE, "weather station")
    assert way_of(entry) == "by the interface, key “weather station”"
    assert way_of(entry) in {event.way for event in trail_of(cast.site, cast.group)}
    client.force_login(cast.coordinator)
    page = client.get(reverse("site_detail", args=[cast.group.slug, cast.site.pk])).content.decode()
    assert "Cora Example · by the interface, key “weather station”" in page


def test_a_link_from_a_mail_says_which_kind(cast: Cast, client: Client) -> None:
    invitation = invite_person(
        person=cast.person("coordinator"), group=cast.group, email="new@example.org", role="volunteer"
    )
    address = reverse("invitation_accept", args=[INVITATION.make(invitation.pk)])
    word = "a long sentence of no meaning"
    client.post(address, {"name": "New Person", "password": word, "password1": word, "password2": word})
    entry = newest("membership.joined")
    assert (entry.way, entry.way_detail) == (Way.LINK, "accounts.invitation")


def test_a_link_that_is_read_elsewhere_is_no_way(cast: Cast) -> None:
    came_by(Way.LINK, "accounts.invitation")
    assert origin() == UNKNOWN
    with coming_from(Way.TASK, "sweep"):
        came_by(Way.LINK, "accounts.invitation")
        assert origin().way == Way.TASK


@pytest.mark.parametrize(("kind", "way"), [("export", Way.JOB), ("import", Way.IMPORT)])
def test_long_work_says_what_it_is(cast: Cast, kind: str, way: Way, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("portal.jobs.kinds._KINDS", {})
    job_kind(kind, label="Work")(lambda _job, _progress: Outcome())
    job = Job.objects.create(group=cast.group, kind=kind, label="Work")
    work_off(job.pk)
    entry = newest("job.done")
    assert (entry.way, entry.way_detail) == (way, kind)


def test_a_task_of_the_worker_says_its_name(cast: Cast) -> None:
    task = SimpleNamespace(name="alerts.tasks.watch_incidents")
    task_prerun.send(None, task=task)
    try:
        entry = record_change(actor=None, verb="site.seen", thing=cast.site)
    finally:
        task_postrun.send(None, task=task)
    assert (entry.way, entry.way_detail) == (Way.TASK, "alerts.tasks.watch_incidents")
    assert origin() == UNKNOWN
    assert way_of(entry) == "by the portal's own clock"


def test_a_command_says_its_name() -> None:
    """In a process of its own, as an operator types it."""
    look = "from portal.audit.origins import origin; print(origin())"
    told = in_own_process("shell", "--no-imports", "-c", look).stdout
    assert "way='command'" in told.replace("<Way.COMMAND: ", "").replace("Way.COMMAND", "'command'")
    assert "detail='shell'" in told
    assert way_of(AuditEntry(way=Way.COMMAND, way_detail="backup")) == "by the command backup on the server"


def test_what_was_written_before_this_was_kept_says_nothing() -> None:
    assert way_of(AuditEntry(way="")) == ""


def test_many_entries_at_once_keep_an_address_each(cast: Cast) -> None:
    with coming_from(Way.PAGE, address=CLIENT):
        record_change_of_each(actor=None, verb="site.seen", things=[cast.site, cast.neighbour_site])
    assert EntryAddress.objects.filter(address=CLIENT).count() == 2


def test_addresses_go_after_a_while_and_the_trail_stays_whole(cast: Cast) -> None:
    with coming_from(Way.PAGE, address=CLIENT):
        old = record_change(actor=None, verb="site.seen", thing=cast.site)
        new = record_change(actor=None, verb="site.seen", thing=cast.site)
    EntryAddress.objects.filter(entry=old.pk).update(at=timezone.now() - timedelta(days=91))
    assert erase_old_addresses() == 1
    assert addresses_of([old, new]) == {new.pk: CLIENT}
    assert verify_trail().broken is None


def test_the_addresses_of_one_person_can_go_at_once(cast: Cast) -> None:
    with coming_from(Way.PAGE, address=CLIENT):
        own = record_change(actor=cast.person("volunteer"), verb="site.seen", thing=cast.site)
        other = record_change(actor=cast.person("coordinator"), verb="site.seen", thing=cast.site)
    assert erase_addresses_of(cast.volunteer.pk) == 1
    assert addresses_of([own, other]) == {other.pk: CLIENT}
