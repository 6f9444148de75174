"""How long stored visits take to be scored anew, and which share of the work is done outside PostgreSQL.

`make bench` runs it for 5,000 visits, `make bench VISITS=100000` for as many as that. Not part of the suite:
its names keep it from being collected.
"""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

import pytest
from django.db import connection
from django.utils import timezone

from portal.jobs.working import work_off
from scoring.indices import METHODS
from scoring.tables import read_table
from surveys.models import Site, TaxonCount, Visit, VisitScore
from surveys.scores.rescoring import rescore_visits, visits_to_rescore
from surveys.scores.sets import write_scores
from surveys.services.rescoring import request_rescoring
from tests.conftest import Cast
from tests.factories import days_ago
from tests.owner import as_owner

VISITS = int(os.environ.get("VISITS", "5000"))
PART = 2_000
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


def fill(cast: Cast, site: Site | None = None) -> None:
    """Visits of 20 taxa with scores of all indices."""
    now, site = timezone.now(), site or cast.site
    for start in range(0, VISITS, PART):
        visits = [
            Visit(
                id=uuid4(),
                group=site.group,
                site=site,
                recording_list=site.recording_list,
                visited_on=days_ago(number % 3000),
                entered_by=cast.volunteer,
                submitted_at=now,
                is_past_record=True,
            )
            for number in range(start, min(start + PART, VISITS))
        ]
        Visit.objects.bulk_create(visits)
        TaxonCount.objects.bulk_create(
            TaxonCount(visit=visit, taxon=TAXA[(place * 4 + number) % len(TAXA)], count=1 + place * 3)
            for number, visit in enumerate(visits)
            for place in range(20)
        )
        write_scores(
            (visit.pk, index, method.version, 1.0, None, None, "", "[]")
            for visit in visits
            for index, method in METHODS.items()
        )


def outdate(cast: Cast, stale: Sequence[str]) -> None:
    """Make the scores of these indices look as if an earlier version had made them."""
    scores = VisitScore.objects.of_group(cast.group).filter(index__in=stale, is_current=True)
    scores.exclude(version="0").update(version="0")
    with as_owner(), connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")


# Real commits: checks of foreign keys wait for them, and are PostgreSQL's work too.
@pytest.mark.django_db(transaction=True)
def bench_rescoring(cast: Cast) -> None:
    fill(cast)
    warm_up(cast)
    print(f"\n{VISITS:,} stored visits of 20 taxa scored anew, with processor time:")
    for stale in (tuple(METHODS), ("whpt", "whpt_ntaxa", "whpt_aspt"), ("bmwp",)):
        outdate(cast, stale)
        print(told(len(stale), run(cast)))
        assert not visits_to_rescore(cast.group).exists()


def warm_up(cast: Cast) -> None:
    """Have the tables read and the ways trodden, as in a worker that has been at it for a while."""
    outdate(cast, tuple(METHODS))
    some = visits_to_rescore(cast.group).values_list("pk", flat=True)[:200]
    rescore_visits(person=None, group=cast.group, visits=list(some))


def run(cast: Cast) -> Moment:
    """Order a run and work it off; what it took."""
    ordered = request_rescoring(person=None, group=cast.group, reason="benchmark")
    start = Moment.now()
    work_off(ordered.pk)
    return Moment.now() - start


def told(stale: int, took: Moment) -> str:
    """One line of figures."""
    return (
        f"{stale:2} of {len(METHODS)} indices stale {VISITS / took.wall:12,.0f} visits/s in {took.wall:.1f} s; "
        f"ours {took.ours:.1f} s, PostgreSQL's {took.server:.1f} s: {took.outside:.0%} outside PostgreSQL"
    )
