"""Sends junk to every address of the URL resolver by every method it takes, and counts what comes back."""

from __future__ import annotations

import json
import re
import traceback
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any
from zlib import crc32

from django.test import Client
from django.urls import NoReverseMatch, reverse
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from surveys.views.api_docs import operations
from tests.access.fuzzing import forms, junk, mutations
from tests.access.fuzzing.forms import Form, Pair, Reader
from tests.access.table import TABLE
from tests.access.table_accounts import ACCOUNT_TABLE
from tests.access.test_matrix import ADDRESSES, answer_of, signed_in
from tests.access.world import World, unknown
from tests.conftest import Cast

# Who gets furthest is asked first.
EAGER = ("coordinator", "volunteer", "involved", "contact", "reviewer", "neighbour", "nobody")
EVERYWHERE = ("page", "next", "limit", "offset", "format", "language", "year", "index")
# A form that no page shows by itself sends what that of its page does.
LIKE = {"draft_save": "visit_submit", "photo_add": "visit_submit", "visit_start": "site_detail"}


@dataclass(frozen=True)
class Target:
    """One address by one method, and who asks."""

    name: str
    method: str
    role: str


@dataclass
class Known:
    """What the pages and the schema say may be sent where."""

    world: World
    posted: dict[str, Form]
    asked: dict[str, Form]
    queries: dict[str, set[str]]
    examples: dict[tuple[str, str], Any]
    foreign: list[str]


@dataclass
class Tally:
    """How often each class of answer came, and the faults by where in our code they arose."""

    answers: Counter[int] = field(default_factory=Counter)
    addresses: set[str] = field(default_factory=set)
    faults: dict[str, str] = field(default_factory=dict)

    def note(self, target: Target, answer: Any, sent: str) -> None:
        self.answers[answer.status_code] += 1
        self.addresses.add(target.name)
        # The page of health says so rightly once workers have been silent for two minutes, which a long run is.
        if answer.status_code >= 500 and (target.name, answer.status_code) != ("health", 503):
            self.faults.setdefault(f"{target.method} {target.name}: {_origin(answer)}", sent)

    def told(self) -> str:
        """Two lines for whoever runs it."""
        classes = Counter({f"{code // 100}xx": 0 for code in self.answers})
        for code, times in self.answers.items():
            classes[f"{code // 100}xx"] += times
        answers = ", ".join(f"{times:,} {name}" for name, times in sorted(classes.items()))
        codes = ", ".join(f"{code}: {times:,}" for code, times in sorted(self.answers.items()))
        total = sum(self.answers.values())
        return f"{total:,} inputs to {len(self.addresses)} addresses: {answers}\n({codes})"


def _origin(answer: Any) -> str:
    """The error and the last lines of our own code on its way."""
    if not getattr(answer, "exc_info", None):
        return f"{answer.status_code} without an error"
    kind, error, trail = answer.exc_info
    frames = [each for each in traceback.extract_tb(trail) if "site-packages" not in each.filename]
    last = frames[-1] if frames else traceback.extract_tb(trail)[-1]
    return f"{kind.__name__} at {last.filename.rpartition('/')[2]}:{last.lineno} ({str(error)[:100]})"


def role_for(policy: Any) -> str:
    return next((role for role in EAGER if policy[role] == "ok"), "coordinator")


def targets() -> list[Target]:
    """Every address by every method that the table lists for it."""
    found = [
        Target(name, method, role_for(policy))
        for table in (TABLE, ACCOUNT_TABLE)
        for name, methods in table.items()
        for method, policy in methods.items()
        if method not in ("head", "options")
    ]
    return sorted(found, key=lambda each: (each.name, each.method))


def address(world: World, name: str, **other: Any) -> str:
    return reverse(name, kwargs=world.arguments(name, ADDRESSES[name]) | other)


def read_pages(world: World) -> Iterator[Reader]:
    """Every page that whoever gets furthest can open."""
    for target in targets():
        if target.method == "get" and not target.name.startswith("api_"):
            url = address(world, target.name)
            answer = answer_of(signed_in(world, target.role), "get", url)
            if answer.status_code == 200 and answer["Content-Type"].startswith("text/html"):
                yield forms.read_page(url, answer.content.decode())


def what_is_known(cast: Cast, world: World) -> Known:
    readers = list(read_pages(world))
    queries: dict[str, set[str]] = {}
    for target, name in (pair for reader in readers for pair in reader.queries):
        queries.setdefault(target, set()).add(name)
    rows = (cast.neighbour_site, cast.neighbour_coordinator, cast.neighbour, cast.site)
    foreign = [str(row.pk) for row in rows] + [cast.neighbour.slug, "neighbour@example.org"]
    posted, asked = forms.by_target(readers, "post"), forms.by_target(readers, "get")
    return Known(world, posted, asked, queries, dict(examples(world)), foreign)


def examples(world: World) -> Iterator[tuple[tuple[str, str], Any]]:
    """The first example of each operation of the interface, by URL name and method."""
    for each in operations():
        path = re.sub(r"{(\w+)}", lambda found: str(world.values.get(found[1], "x")), each.path)
        if each.examples:
            yield (forms.name_of(path), each.method.lower()), json.loads(each.examples[0][1])


def draw_address(data: st.DataObject, known: Known, name: str) -> str:
    """Mostly the right address; now and then with ids that are not there, another group's slug or junk."""
    real = known.world.arguments(name, ADDRESSES[name])
    kind = data.draw(st.integers(0, 9))
    if kind == 9 and real:
        which = data.draw(st.sampled_from(sorted(real)))
        real |= {which: data.draw(st.one_of(junk.values, st.sampled_from(known.foreign)))}
    elif kind == 8:
        real = unknown(real)
    try:
        return reverse(name, kwargs=real)
    except (NoReverseMatch, UnicodeEncodeError):
        return reverse(name, kwargs=known.world.arguments(name, ADDRESSES[name]))


def draw_query(data: st.DataObject, known: Known, name: str, most: int) -> str:
    asked = known.asked.get(name)
    pairs: list[Pair] = list(asked.pairs) if asked and data.draw(st.booleans()) else []
    names = sorted({*EVERYWHERE, *known.queries.get(name, ()), *(asked.names if asked else ())})
    for _pair in range(data.draw(st.integers(0, most))):
        pairs = mutations.changed(data, pairs, names, known.foreign)
    return mutations.encoded(pairs).decode()


def draw_headers(data: st.DataObject, client: Client) -> dict[str, str]:
    """None, one or two odd headers; a cookie goes beside that of the session or in its place."""
    sent = {"Cookie": "; ".join(f"{name}={morsel.value}" for name, morsel in client.cookies.items())}
    for _header in range(data.draw(st.sampled_from([0, 0, 1, 2]))):
        name, value = data.draw(junk.headers)
        sent[name] = value.encode().decode("latin-1")
    if data.draw(st.integers(0, 7)) == 7:
        name, value = data.draw(junk.cookies)
        sent["Cookie"] += f"; {name}={value}"
    return sent


def draw_body(data: st.DataObject, known: Known, target: Target) -> mutations.Body:
    form = known.posted.get(target.name) or known.posted.get(LIKE.get(target.name, ""))
    if data.draw(st.integers(0, 9)) == 9:
        return mutations.raw_body(data)
    if target.name == "api_visit_photo":
        return mutations.multipart([("caption", data.draw(junk.values))], [("photo", data.draw(junk.uploads))])
    if target.name == "api_imports":
        return mutations.multipart([], [("file", data.draw(junk.uploads))])
    if target.name.startswith("api_"):
        return mutations.json_body(data, known.examples.get((target.name, target.method)), known.foreign)
    return mutations.form_body(data, form or Form("", "post"), known.foreign)


def send_junk(data: st.DataObject, known: Known, target: Target, tally: Tally) -> None:
    """One input; its answer is counted, and what it changed is taken back."""
    client = signed_in(known.world, target.role)
    reads = target.method == "get"
    query = draw_query(data, known, target.name, 3 if reads else 1)
    url = draw_address(data, known, target.name) + (f"?{query}" if query else "")
    headers = draw_headers(data, client)
    body, kind = (b"", "") if reads else draw_body(data, known, target)
    # The client's own methods would read the body first, and stumble in our stead.
    sent = {"path": url, "data": body, "content_type": kind, "headers": headers}
    answer = answer_of(client, "generic", target.method.upper(), **sent)
    tally.note(target, answer, f"{url[:300]} {headers} {kind} {body[:400]!r}")


def sending(sender: Callable[[st.DataObject], None]) -> Callable[[st.DataObject], None]:
    """A plain function, as hypothesis wants it."""

    def send(data: st.DataObject) -> None:
        sender(data)

    return send


def fuzz(known: Known, each: Sequence[Target], inputs: int, start: int) -> Tally:
    """Send so many inputs to each target; the same `start` draws the same inputs."""
    tally = Tally()
    drawn = settings(
        max_examples=inputs,
        deadline=None,
        database=None,
        # A fault is noted and the next input sent; nothing is made smaller.
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    for target in each:
        sender = partial(send_junk, known=known, target=target, tally=tally)
        own = crc32(f"{start} {target.method} {target.name}".encode())
        seed(own)(drawn(given(st.data())(sending(sender))))()
    return tally
