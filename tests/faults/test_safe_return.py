"""A worker killed in the middle of a sweep: the next one catches up, in order, and tells nobody twice."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.utils import timezone

from portal.outbox.models import Message, State
from surveys.models import SafeReturn
from surveys.tasks import watch_safe_returns
from tests.conftest import Cast
from tests.faults.conftest import StartWorker, kill
from tests.mail import Postbox
from tests.owner import as_owner
from tests.processes import await_true
from tests.surveys.outings.returning import begin_return, course, fresh

PATIENCE = 60
pytestmark = [pytest.mark.faults, pytest.mark.django_db(transaction=True)]


def make_overdue(begun: SafeReturn, minutes: int) -> None:
    expected = timezone.now() - timedelta(minutes=minutes)
    SafeReturn.objects.of_group(begun.group).filter(pk=begun.pk).update(
        started_at=expected - timedelta(hours=2), expected_at=expected, next_step_at=expected
    )


def waiting_on_locks() -> int:
    with as_owner(), connection.cursor() as cursor:
        # Within one transaction the server would show the same picture for ever.
        cursor.execute("SELECT pg_stat_clear_snapshot()")
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity"
            " WHERE wait_event_type = 'Lock' AND datname = current_database()"
        )
        return int(cursor.fetchone()[0])


def test_a_sweep_killed_half_way_is_made_good_by_the_next(
    cast: Cast, start_worker: StartWorker, postbox: Postbox
) -> None:
    begun = begin_return(cast)
    make_overdue(begun, 50)
    worker = start_worker()
    with transaction.atomic(), connection.cursor() as cursor:
        # Holds the sweep up once it has begun to write, so that it dies with its transaction open.
        cursor.execute("LOCK TABLE surveys_returnevent IN EXCLUSIVE MODE")
        watch_safe_returns.delay()
        await_true(lambda: waiting_on_locks() > 0, "The sweep did not begin.", PATIENCE)
        kill(worker)
    assert course(begun) == ["started"], "the dead sweep has left nothing behind"
    assert fresh(begun).step == 0

    start_worker()
    watch_safe_returns.delay()
    await_true(lambda: fresh(begun).next_step_at is None, "Nobody caught up.", PATIENCE)
    assert course(begun) == ["started", "again", "coordinators", "named"]
    overdue = Message.objects.across_groups("tests").filter(kind="return.overdue")
    assert sorted(each.to_address for each in overdue) == [
        "cole@example.org",
        "cora@example.org",
        "hazel@home.example",
    ]
    await_true(lambda: not overdue.exclude(state=State.SENT).exists(), "The mails were not sent.", PATIENCE)
    told = [mail["To"] for mail in postbox.mails if "Please act" in str(mail["Subject"])]
    assert len(told) == len(set(told)) == 3
