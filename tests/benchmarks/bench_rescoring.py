"""How long stored visits take to be scored anew, and which share of it PostgreSQL works.

Run with `pytest -s -o python_files='bench_*.py' -o python_functions='bench_*' tests/benchmarks`; VISITS
sets how many (5,000 unless told). Not part of the suite: its names keep it from being collected.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.utils import timezone

from scoring.indices import METHODS
from scoring.tables import read_table
from surveys.models import TaxonCount, Visit, VisitScore
from surveys.services.rescoring import request_rescoring, work_off
from tests.conftest import Cast
from tests.factories import days_ago

VISITS = int(os.environ.get("VISITS", "5000"))
TAXA = [row["taxon"] for row in read_table("bmwp")]


class Clock:
    """Adds up the time that queries take, as the driver sees it."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self, execute: Callable[..., Any], *given: Any) -> Any:
        start = time.perf_counter()
        try:
            return execute(*given)
        finally:
            self.seconds += time.perf_counter() - start


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


@pytest.mark.django_db
@pytest.mark.parametrize("stale", [("bmwp",), ("whpt", "whpt_ntaxa", "whpt_aspt"), tuple(METHODS)], ids=len)
def bench_rescoring(cast: Cast, stale: tuple[str, ...]) -> None:
    fill(cast, stale)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    run = request_rescoring(person=None, group=cast.group, reason="benchmark")
    clock, start = Clock(), time.perf_counter()
    with connection.execute_wrapper(clock):
        work_off(run.pk)
    took = time.perf_counter() - start
    outside = 1 - clock.seconds / took
    print(
        f"\n{VISITS} visits, {len(stale)} stale: {took:.1f} s, {VISITS / took:.0f} a second, "
        f"{outside:.0%} of the time outside PostgreSQL"
    )
