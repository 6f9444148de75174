"""Two hundred messages owed and workers killed at random: all arrive, and each second copy has its cause."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from portal.outbox.models import Attempt, Message, State
from portal.outbox.services import owe_message
from portal.outbox.tasks import sweep_outbox
from tests.faults.conftest import StartWorker, Worker, kill, mail_url
from tests.mail import Postbox
from tests.processes import await_true

pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]
OWED, KILLS = 200, 3


def owe_many() -> None:
    for number in range(OWED):
        owe_message(
            key=f"n{number}", kind="test", to_address="a@agency.example", subject=f"n{number}", text="Low."
        )


def in_flight() -> set[str]:
    """What somebody has claimed and not marked: only these can reach their reader twice."""
    rows = Message.objects.across_groups("tests look at all").filter(state=State.OWED)
    return set(rows.exclude(claimed_until=None).values_list("key", flat=True))


def are_all_sent() -> bool:
    return not Message.objects.across_groups("tests").exclude(state=State.SENT).exists()


def kill_at_random(workers: list[Worker], postbox: Postbox, dice: random.Random) -> set[str]:
    """Kill each after some more mails; return what was in their hands."""
    held: set[str] = set()
    for worker in workers:
        goal = len(postbox.mails) + dice.randint(8, 40)
        await_true(lambda goal=goal: len(postbox.mails) >= goal, "The mail stopped.")  # type: ignore[misc]
        kill(worker)
        held |= in_flight()
    return held


def test_all_arrive_whoever_is_killed_and_only_what_was_in_flight_twice(
    start_worker: StartWorker, postbox: Postbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("portal.outbox.services.nudge", lambda message_id: None)
    owe_many()
    # Long enough in the server's hands for a kill to fall between taking and marking.
    postbox.hang_seconds = 0.02
    short_claims = mail_url(postbox.port, timeout=1)
    workers = [start_worker(wait=False, EMAIL_URL=short_claims) for _ in range(KILLS + 1)]
    for _ in range(2 * len(workers)):
        sweep_outbox.delay()
    held = kill_at_random(workers[:KILLS], postbox, random.Random(20_817))
    assert not are_all_sent(), "the last kill came too late to prove anything"

    def is_done() -> bool:
        sweep_outbox.delay()
        return are_all_sent()

    await_true(is_done, "Something was lost.", pause=0.5)
    copies = Counter(str(mail["Subject"]) for mail in postbox.mails)
    twice = {subject for subject, times in copies.items() if times > 1}
    assert set(copies) == {f"n{number}" for number in range(OWED)}
    assert twice <= held, "a second copy without a worker that died holding it"
    assert sum(copies.values()) - OWED <= KILLS, "more copies than kills"
    numbers = {(str(mail["Subject"]), mail["Message-ID"]) for mail in postbox.mails}
    assert len(numbers) == OWED, "a second copy carries the number of the first"
    succeeded = Attempt.objects.across_groups("tests").filter(succeeded=True)
    assert succeeded.count() == OWED
