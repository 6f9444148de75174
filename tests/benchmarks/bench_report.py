"""How long a yearly report takes against WeasyPrint alone on the same finished HTML, and how much memory.

Twenty sites with ten years of monthly visits. `make bench` runs it; its names keep it from being collected.
"""

from __future__ import annotations

import resource
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from portal.reports.document import render_document, typeset
from portal.reports.figures import gather_figures
from portal.reports.models import YearlyReport
from portal.reports.services import make_report, request_report
from tests.conftest import Cast
from tests.reports.decade import LAST_YEAR, SITES, YEARS, fill_decade

MOST_TIMES, MOST_MEBIBYTES, MOST_BYTES = 1.5, 1024, 5_000_000


@pytest.mark.django_db
def bench_report(cast: Cast, settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path
    fill_decade(cast)
    report = request_report(person=cast.person("coordinator"), group=cast.group, year=LAST_YEAR)
    # The first use loads fonts and tables, in a worker once for all reports.
    typeset('<html lang="en"><title>Warm</title><p>Warm</p></html>')
    begun, cpu = time.perf_counter(), time.process_time()
    make_report(report.pk)
    whole, whole_cpu = time.perf_counter() - begun, time.process_time() - cpu
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    made = YearlyReport.objects.of_group(cast.group).get(pk=report.pk)
    assert made.state == "ready", made.problem
    parts = _parts(made)
    print(_told(made, whole, whole_cpu, peak, parts))
    assert whole <= MOST_TIMES * parts["typeset"]
    assert peak < MOST_MEBIBYTES
    assert made.file.size < MOST_BYTES


def _parts(made: YearlyReport) -> dict[str, float]:
    """Seconds of each step by itself, on the figures that the report was made from."""
    moments = [time.perf_counter()]
    gather_figures(made.group, made.year)
    moments.append(time.perf_counter())
    html = render_document(made.data, edition=made.edition)
    moments.append(time.perf_counter())
    typeset(html)
    moments.append(time.perf_counter())
    steps = [after - before for before, after in pairwise(moments)]
    return dict(zip(("gather", "render", "typeset"), steps, strict=True))


def _told(made: YearlyReport, whole: float, cpu: float, peak: float, parts: dict[str, float]) -> str:
    alone = parts["typeset"]
    return (
        f"\nA report of {SITES} sites and {YEARS} years ({made.file.size / 1e6:.1f} MB): {whole:.1f} s, "
        f"WeasyPrint alone {alone:.1f} s: {whole / alone:.2f} times as long (at most {MOST_TIMES})\n"
        f"reading {parts['gather']:.1f} s, charts and HTML {parts['render']:.1f} s; {cpu:.1f} s of processor "
        f"time; {peak:.0f} MiB at the peak (below {MOST_MEBIBYTES})"
    )
