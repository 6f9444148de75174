"""A broker whose memory is full, a deploy in the middle, a mailbox that is gone: what is owed arrives, once."""

from __future__ import annotations

import signal
from collections import Counter
from collections.abc import Iterator

import pytest
from django.conf import settings as django_settings
from redis import Redis

from portal.embedded import valkey
from portal.outbox.models import Message, State
from portal.outbox.services import owe_message
from portal.outbox.tasks import sweep_outbox
from tests.alerts.conftest import Watch, watch
from tests.faults.conftest import StartWorker
from tests.mail import Postbox
from tests.processes import await_true

__all__ = ["watch"]
pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]


def owe(key: str) -> Message:
    return owe_message(key=key, kind="test", to_address="a@agency.example", subject=key, text="Low.")


def is_sent(message: Message) -> bool:
    return Message.objects.across_groups("tests look at all").filter(id=message.id, state=State.SENT).exists()


@pytest.fixture
def broker(empty_queue: None) -> Iterator[Redis]:
    line: Redis = Redis.from_url(valkey.client_address(django_settings.REDIS_URL))
    yield line
    line.config_set("maxmemory", "0")
    line.close()


@pytest.mark.alone
def test_a_broker_that_refuses_writes_loses_no_alert_and_no_worker(
    broker: Redis, start_worker: StartWorker, postbox: Postbox
) -> None:
    postbox.hang_seconds = 0.5
    worker = start_worker()
    before = [owe(f"before{number}") for number in range(3)]
    await_true(lambda: len(postbox.mails) >= 1, "The worker does not work.")
    # While the next nudge is on its way from the broker to the worker.
    broker.config_set("maxmemory", "1")
    during = owe("during")
    with pytest.raises(Exception, match="maxmemory"):
        sweep_outbox.apply_async(retry=False)
    await_true(lambda: is_sent(before[0]), "What the worker has in hand needs no broker.")

    broker.config_set("maxmemory", "0")
    sweep_outbox.delay()
    await_true(lambda: all(is_sent(each) for each in (*before, during)), "The sweep did not come.")
    assert worker.poll() is None, "the same worker lived through it"
    assert len(postbox.mails) == 4


def test_a_deploy_in_the_middle_ends_with_the_message_in_hand_and_goes_on_with_the_next_worker(
    start_worker: StartWorker, postbox: Postbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("portal.outbox.services.nudge", lambda message_id: None)
    postbox.hang_seconds = 1.0
    old = start_worker()
    messages = [owe(f"m{number}") for number in range(60)]
    sweep_outbox.delay()
    await_true(lambda: len(postbox.mails) >= 2, "The sweep did not begin.")
    old.send_signal(signal.SIGTERM)
    assert old.wait(timeout=30) == 0, "a warm shutdown"
    owed = Message.objects.across_groups("tests").filter(state=State.OWED)
    assert owed.exists(), "the deploy came too late to prove anything"
    assert not owed.exclude(claimed_until=None).exists(), "nothing is left in dead hands"

    postbox.hang_seconds = 0.0
    start_worker()
    sweep_outbox.delay()
    await_true(lambda: all(is_sent(each) for each in messages), "Something was lost.")
    assert set(Counter(mail["Subject"] for mail in postbox.mails).values()) == {1}


# The suite has it without a worker in tests/alerts/test_watching.py.
@pytest.mark.long
def test_a_gone_mailbox_sends_the_alert_to_the_next_contact_and_the_coordinators_at_once(
    watch: Watch, start_worker: StartWorker, postbox: Postbox
) -> None:
    postbox.rcpt_answers = {"ines@rivers.example": "550 no such mailbox"}
    start_worker()
    watch.submit_low()
    wanted = {"bo@rivers.example", "cora@example.org", "cole@example.org"}
    await_true(lambda: wanted <= set(postbox.recipients), "They were not told.")
    assert "ines@rivers.example" not in postbox.recipients
