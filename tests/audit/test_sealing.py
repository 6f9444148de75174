"""Sealing beside all else: no row is sealed twice, none passed over; a killed sealer leaves whole batches."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.test import Client
from django.utils import timezone

from portal.audit import sealing
from portal.audit.models import AuditEntry, Link, Waiting
from portal.audit.sealing import Head, head, seal_batch, seal_waiting, unsealed
from portal.audit.services import record_change, record_change_of_each
from portal.audit.tasks import seal_trail
from portal.audit.verifying import verify_trail
from portal.embedded.place import PROJECT
from portal.outbox.heartbeats import PARTS, note_alive
from tests.conftest import Cast
from tests.faults.conftest import database_url
from tests.processes import await_true
from tests.threads import in_thread, run_together

pytestmark = pytest.mark.django_db(transaction=True)


def see(cast: Cast, times: int) -> None:
    record_change_of_each(actor=None, verb="site.seen", things=[cast.site] * times)


def is_whole() -> bool:
    found = verify_trail()
    return found.broken is None and not found.waiting.rows


def test_two_sealers_at_once_seal_each_row_once(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sealing, "BATCH", 20)
    see(cast, 200)
    before = Waiting.objects.count()
    for future in run_together(seal_waiting, seal_waiting):
        future.result()
    assert Link.objects.count() == before
    assert is_whole()


def test_a_sealer_of_the_clock_leaves_it_to_the_one_that_is_at_it(cast: Cast) -> None:
    see(cast, 3)
    with transaction.atomic():
        assert seal_batch() > 0
        with in_thread(lambda: seal_batch(patient=False)) as other:
            assert other.result(timeout=20) == 0
        transaction.set_rollback(True)
    seal_trail()
    assert is_whole()


def test_what_is_committed_late_is_sealed_late(cast: Cast) -> None:
    """An entry that was written first, in a transaction that ends last."""
    seal_waiting()
    with transaction.atomic():
        late = record_change(actor=None, verb="site.seen", thing=cast.site)
        with in_thread(lambda: record_change(actor=None, verb="site.seen", thing=cast.site)) as other:
            early = other.result(timeout=20)
        with in_thread(seal_waiting) as sealer:
            assert sealer.result(timeout=20) == head()
        assert late.at < early.at
    assert unsealed().rows == 1
    end = seal_waiting()
    assert Link.objects.get(entry=late.pk).number == end.number == Link.objects.get(entry=early.pk).number + 1
    assert is_whole()


def test_what_is_rolled_back_leaves_no_gap(cast: Cast) -> None:
    seal_waiting()
    with transaction.atomic():
        see(cast, 5)
        transaction.set_rollback(True)
    see(cast, 1)
    before = head()
    assert seal_waiting().number == before.number + 1
    assert is_whole()


# Seals a row at a time, says so, and dies in the middle of the third batch.
SEALER = """
import django, os, sys; django.setup()
from portal.audit import sealing
sealing.BATCH = 1
sealing.seal_batch(); sealing.seal_batch()
def stop(rows):
    print("half way", flush=True); sys.stdin.read()
sealing._links = stop
sealing.seal_batch()
"""


def test_a_killed_sealer_has_sealed_whole_batches_and_the_next_goes_on(cast: Cast) -> None:
    see(cast, 6)
    seal_waiting()
    see(cast, 6)
    before = head()
    address = database_url(str(connection.settings_dict["NAME"]))
    given = os.environ | {"DATABASE_URL": address, "DJANGO_SETTINGS_MODULE": "portal.settings"}
    with subprocess.Popen(
        [sys.executable, "-c", SEALER], cwd=PROJECT, env=given, stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as sealer:
        assert sealer.stdout is not None
        assert sealer.stdout.readline() == b"half way\n"
        sealer.send_signal(signal.SIGKILL)
    # The server notices at its next look at the connection that nobody is there.
    await_true(lambda: seal_batch(patient=False) > 0, "the lock of a killed sealer was never given back")
    assert is_whole()
    assert head().number == before.number + 6


def test_health_tells_a_trail_that_is_not_sealed(cast: Cast, client: Client) -> None:
    for part in PARTS:
        note_alive(part)
    see(cast, 1)
    assert client.get("/health/").status_code == 200
    Waiting.objects.update(since=timezone.now() - timedelta(minutes=31))
    answer = client.get("/health/")
    assert (answer.status_code, answer.json()["status"]) == (503, "unsealed")
    assert 1_860 <= answer.json()["unsealed_seconds"] < 1_900
    seal_waiting()
    assert client.get("/health/").json()["unsealed_seconds"] == 0


def test_figures_and_log_keep_the_head(
    cast: Cast, client: Client, settings: object, caplog: pytest.LogCaptureFixture
) -> None:
    settings.METRICS_TOKEN = "t" * 40  # type: ignore[attr-defined]
    see(cast, 2)
    with caplog.at_level("INFO", "portal.audit.sealing"):
        end = seal_waiting()
    assert f"the chain ends at {end}." in caplog.text
    see(cast, 2)
    told = client.get("/metrics/", headers={"Authorization": f"Bearer {'t' * 40}"}).content.decode()
    assert f'rifflebook_trail_head_info{{number="{end.number}",seal="{end.seal}"}} 1.0' in told
    assert f"rifflebook_trail_links {float(end.number)}" in told
    assert "rifflebook_trail_unsealed 2.0" in told


def test_a_head_is_read_as_it_is_written() -> None:
    end = Head(12, "ab" * 32)
    assert Head.read(f" {end}\n") == end
    for odd in ("", "12", "x:" + "ab" * 32, "12:" + "zz" * 32):
        with pytest.raises(ValueError, match="is no head of the chain"):
            Head.read(odd)


def test_entries_stay_as_they_were(cast: Cast) -> None:
    """Sealing writes beside the trail, never in it."""
    see(cast, 2)
    rows = AuditEntry.objects.across_groups("test").order_by("id").values()
    before = list(rows)
    seal_waiting()
    assert list(rows.all()) == before
