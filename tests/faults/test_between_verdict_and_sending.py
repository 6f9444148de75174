"""Who takes in a low visit is killed for real: before the commit nothing stands, after it nothing is lost."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from alerts.models import Incident, Verdict
from portal.embedded.place import PROJECT
from portal.outbox.models import Message, State
from portal.outbox.tasks import sweep_outbox
from surveys.models import Visit
from surveys.models.visits import Status
from tests.alerts.conftest import Watch, watch
from tests.faults.conftest import StartWorker
from tests.faults.portals import SharedServers
from tests.mail import Postbox
from tests.processes import await_true, kill_now

__all__ = ["watch"]
pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]

# A web server's own work, held up for ever at one of two moments: all is written and not committed, or the
# commit is done and nobody has been nudged.
SUBMIT = """
import sys, time, django; django.setup()
from unittest.mock import patch
from portal.accounts.models import User
from portal.accounts.walls import wide
from portal.outbox import services
from surveys.models import Site
from tests.alerts.conftest import LOW
from tests.factories import person_for, submit
def stand_still(*words):
    print("here", flush=True)
    time.sleep(600)
def written(**fields):
    message = owe(**fields)
    stand_still()
owe = services.owe_message
moments = {"before": ("alerts.services.messages.owe_message", written),
           "after": ("portal.outbox.services.nudge", stand_still)}
with wide("the test names both"), patch(*moments[sys.argv[1]]):
    site = Site.objects.across_groups("test").get(code="AB1")
    submit(person_for(User.objects.get(email="vera@example.org")), site, counts=LOW)
"""


@contextmanager
def standing_still(moment: str) -> Iterator[int]:
    """A process that has come to this moment; its number."""
    environment = os.environ | SharedServers().environment | {"DJANGO_SETTINGS_MODULE": "portal.settings"}
    command = [sys.executable, "-c", SUBMIT, moment]
    with subprocess.Popen(command, cwd=PROJECT, env=environment, stdout=subprocess.PIPE) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline() == b"here\n"
            yield process.pid
        finally:
            process.kill()


def low_visits() -> int:
    return Visit.objects.across_groups("tests look at all").filter(status=Status.WAITING).count()


def test_killed_after_the_verdict_the_alert_is_sent_all_the_same(
    watch: Watch, start_worker: StartWorker, postbox: Postbox
) -> None:
    with standing_still("after") as web:
        kill_now(web)
    assert Verdict.objects.of_group(watch.cast.group).get().outcome == Verdict.Outcome.BELOW
    owed = Message.objects.of_group(watch.cast.group)
    assert set(owed.values_list("state", flat=True)) == {State.OWED}

    start_worker()
    sweep_outbox.delay()
    await_true(lambda: not owed.exclude(state=State.SENT).exists(), "Something was lost.")
    assert len(postbox.mails) == owed.count(), "each once"
    assert postbox.recipients.count("ines@rivers.example") == 1


def test_killed_before_the_commit_neither_visit_nor_alert_stands(
    watch: Watch, start_worker: StartWorker, postbox: Postbox
) -> None:
    """The phone has no answer and sends the visit again: then it counts once."""
    with standing_still("before") as web:
        kill_now(web)
    assert low_visits() == 0
    assert not Incident.objects.of_group(watch.cast.group).exists()
    assert not Message.objects.of_group(watch.cast.group).exists()

    start_worker()
    watch.submit_low()
    await_true(lambda: "ines@rivers.example" in postbox.recipients, "The visit sent again alerts nobody.")
    assert low_visits() == 1
    assert postbox.recipients.count("ines@rivers.example") == 1
