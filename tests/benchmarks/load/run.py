"""The portal at several sizes in one run, as a table of ratios: `make bench BENCH_GROUPS=10,100,1000`.

Each size has a database of its own, grown by `manage.py grow`; all are on one private PostgreSQL. In each the
portal and the least that could do the same take turns, so that whatever else the machine does meets both alike.
"""

from __future__ import annotations

import json
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import psycopg

from portal.embedded import postgres
from portal.embedded.place import PROJECT
from tests.states import temporary_state

SIZES = [int(each) for each in os.environ.get("BENCH_GROUPS", "10,100").split(",")]
# What has 50,000 visits: 200 groups of eleven sites visited for two years.
CROWD = ("--groups", "200", "--sites", "11", "--years", "2")
SEVERAL = ("one_by_one", "taking_in", "loading")
ONCE = ("crowded", "lasting")
# At most so many times the bare page, at least such a share of the bare writing, at most such a growth.
PAGES, INSERTS, COPIES, GROWTH = 4.0, 1 / 3, 1 / 5, 1.2
CROWDED = 50 / 35
Figures = Mapping[str, Any]


def main() -> None:
    with servers() as address:
        found = {size: measure(address, f"g{size}", ("--groups", str(size)), SEVERAL) for size in SIZES}
        crowd = {} if "--no-crowd" in sys.argv else measure(address, "crowd", CROWD, ONCE)
    print("\n".join(table(found, crowd)))


@contextmanager
def servers() -> Iterator[str]:
    """The address of a PostgreSQL: one that is given and kept, or one for this run."""
    if given := os.environ.get("BENCH_DATABASE"):
        yield given
        return
    with temporary_state() as state, postgres.running(state) as address:
        yield address


def measure(address: str, name: str, extent: tuple[str, ...], parts: tuple[str, ...]) -> Figures:
    """Grow the database of that name if it is not there yet, and measure these parts in it."""
    database = f"bench_{name}"
    with psycopg.connect(address, autocommit=True) as connection:
        known = connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [database]).fetchone()
        if known is None:
            connection.execute(f'CREATE DATABASE "{database}"'.encode())
    head, _, query = address.partition("?")
    environment = os.environ | {"DATABASE_URL": f"{head.rpartition('/')[0]}/{database}?{query}"}
    with tempfile.TemporaryDirectory() as state:
        environment |= {"PORTAL_STATE_DIR": state, "SECRET_KEY": "only-to-measure" + "x" * 50}
        _run(environment, "manage.py", "migrate", "--verbosity", "0")
        if known is None:
            print(_run(environment, "manage.py", "grow", *extent).strip(), flush=True)
        said = _run(environment, "-m", "tests.benchmarks.load.one_size", *parts)
    figures: Figures = json.loads(said.splitlines()[-1])
    return figures


def _run(environment: Mapping[str, str], *words: str) -> str:
    done = subprocess.run(
        [sys.executable, "-W", "ignore", *words],
        cwd=PROJECT,
        env=dict(environment),
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    return done.stdout


def table(found: Mapping[int, Figures], crowd: Figures) -> list[str]:
    """Lines of Markdown."""
    return [*_about(), *_by_size(found), *(_crowded(crowd) if crowd else ())]


def _about() -> list[str]:
    kind = next(
        (line.partition(":")[2].strip() for line in _lines("/proc/cpuinfo") if line.startswith("model name")),
        platform.machine(),
    )
    load = ", ".join(f"{each:.1f}" for each in os.getloadavg())
    return [f"{date.today():%d %B %Y}; {os.cpu_count()} processors, {kind}; load {load} at the end", ""]


def _lines(path: str) -> list[str]:
    return Path(path).read_text().splitlines() if Path(path).exists() else []


def _by_size(found: Mapping[int, Figures]) -> Iterator[str]:
    sizes = list(found)
    yield f"| ratio | {' | '.join(f'{size:,} groups' for size in sizes)} | growth | goal |"
    yield f"|---|{'---|' * len(sizes)}---|---|"
    for name in found[sizes[0]]["one_by_one"]:
        if name != "bare":
            pages = [each["one_by_one"] for each in found.values()]
            cells = [f"{each[name] / each['bare']:.1f} ({each[name]:.1f} ms)" for each in pages]
            grown = f"{pages[-1][name] / pages[-1]['bare'] / (pages[0][name] / pages[0]['bare']):.2f}"
            yield _row(f"{name} / bare page", cells, grown, f"at most {PAGES:.0f}, growth {GROWTH}")
    for part, words, unit, goal in (
        ("taking_in", "visits taken in / INSERT", "visits/s", INSERTS),
        ("loading", "rows of a sheet loaded / COPY", "rows/s", COPIES),
    ):
        took = [each[part] for each in found.values()]
        cells = [f"{each['whole'] / each['bare']:.2f} ({each['whole']:,.0f} {unit})" for each in took]
        grown = f"{(took[0]['whole'] / took[0]['bare']) / (took[-1]['whole'] / took[-1]['bare']):.2f}"
        yield _row(words, cells, grown, f"at least {goal:.2f}, growth {GROWTH}")


def _row(name: str, cells: list[str], grown: str, goal: str) -> str:
    return f"| {name} | {' | '.join(cells)} | {grown} | {goal} |"


def _crowded(crowd: Figures) -> Iterator[str]:
    yield from ("", "200 groups, 52,800 visits, eight clients at once; ms:", "")
    yield "| page | work | times bare | mean | half | 95 of 100 | times bare | 99 of 100 | 95 of 100 / mean |"
    yield "|---|---|---|---|---|---|---|---|---|"
    bare = crowd["crowded"]["bare"]
    for name, took in crowd["crowded"].items():
        times = {key: f"{took[key] / bare[key]:.1f}" for key in ("work", "p95")}
        yield (
            f"| {name} | {took['work']:.1f} | {times['work']} | {took['mean']:.0f} | {took['p50']:.0f}"
            f" | {took['p95']:.0f} | {times['p95']} (goal {CROWDED:.1f}) | {took['p99']:.0f}"
            f" | {took['p95'] / took['mean']:.1f} |"
        )
    kept = crowd["lasting"]
    before, after = (", ".join(f"{each:.0f}" for each in kept[name]) for name in ("before", "after"))
    yield from (
        "",
        f"Own memory of the web workers: {before} MiB; after {kept['requests']:,} requests {after} MiB.",
    )


if __name__ == "__main__":
    main()
