"""How long stored visits take to be scored anew, and which share of the work is done outside PostgreSQL.

Run with `pytest -s -o python_files='bench_*.py' -o python_functions='bench_*' tests/benchmarks`; VISITS
sets how many (5,000 unless told). Not part of the suite: its names keep it from being collected.
"""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

import pytest
from django.db import connection
from django.utils import timezone

from scoring.indices import METHODS
from scoring.tables import read_table
from surveys.models import TaxonCount, Visit, VisitScore
from surveys.rescoring import visits_to_rescore
from surveys.services.rescoring import request_rescoring, work_off
from tests.conftest import Cast
from tests.factories import days_ago

VISITS = int(os.environ.get("VISITS", "5000"))
TAXA = [row["taxon"] for row in read_table("bmwp")]


@dataclass(frozen=True)
class Moment:
    """Seconds so far: on the wall, of our own processor time, and of that of PostgreSQL's process for us."""

    wall: float
    ours: float
    server: float

    @classmethod
    def now(cls) -> Moment:
        return cls(time.perf_counter(), time.process_time(), server_seconds())

    def __sub__(self, start: Moment) -> Moment:
        return Moment(self.wall - start.wall, self.ours - start.ours, self.server - start.server)

    @property
    def outside(self) -> float:
        """Our share of the work. What PostgreSQL waits for the disk, or other processes do for it, is left out:
        both would only lower the share."""
        return self.ours / (self.ours + self.server)


def server_seconds() -> float:
    """Processor time of the PostgreSQL process that serves our connection, as the kernel counts it."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        (number,) = cursor.fetchone()
    fields = Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()
    # Fields 14 and 15 of the line: time in user and in kernel mode, in ticks.
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def fill(cast: Cast, stale: tuple[str, ...]) -> None:
    """Visits of 20 taxa, whose scores of the stale indices were made by an earlier version."""
    now = timezone.now()
    visits = [
        Visit(
            id=uuid4(),
            group=cast.group,
            site=cast.site,
            recording_list=cast.site.recording_list,
            visited_on=days_ago(number % 3000),
            entered_by=cast.volunteer,
            submitted_at=now,
            is_past_record=True,
        )
        for number in range(VISITS)
    ]
    Visit.objects.bulk_create(visits, batch_size=2000)
    for start in range(0, VISITS, 2000):
        part = visits[start : start + 2000]
        TaxonCount.objects.bulk_create(
            TaxonCount(visit=visit, taxon=TAXA[(place * 4 + number) % len(TAXA)], count=1 + place * 3)
            for number, visit in enumerate(part)
            for place in range(20)
        )
        VisitScore.objects.bulk_create(
            VisitScore(visit=visit, index=index, version="0" if index in stale else method.version, value=1.0)
            for visit in part
            for index, method in METHODS.items()
        )


# Real commits: checks of foreign keys wait for them, and are PostgreSQL's work too.
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("stale", [("bmwp",), ("whpt", "whpt_ntaxa", "whpt_aspt"), tuple(METHODS)], ids=len)
def bench_rescoring(cast: Cast, stale: tuple[str, ...]) -> None:
    fill(cast, stale)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    run = request_rescoring(person=None, group=cast.group, reason="benchmark")
    start = Moment.now()
    work_off(run.pk)
    took = Moment.now() - start
    print(
        f"{VISITS:,} stored visits of 20 taxa, {len(stale)} of {len(METHODS)} indices stale: "
        f"{took.wall:.1f} s, {VISITS / took.wall:,.0f} visits/s; processor time "
        f"{took.ours:.1f} s ours, {took.server:.1f} s PostgreSQL's: {took.outside:.0%} outside PostgreSQL"
    )
    assert not visits_to_rescore(cast.group).exists()
