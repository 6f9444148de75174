"""A portal with a few sites under watch, and people who read and submit all the time."""

from __future__ import annotations

import http.client
import itertools
import json
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

import django

SITES = 10
# Tells how to submit and read: printed by `build`, in a process of its own on the servers of the test.
BUILD = "from tests.faults.steady_load import build; build()"


def build() -> None:
    """Found a group whose sites can each raise an alert, and print what a client must know, as JSON."""
    django.setup()
    from django.test import Client

    from portal.tokens.models import Scope
    from portal.tokens.services import make_key
    from tests.alerts.conftest import LOW, add_baseline, name_contact, set_level
    from tests.conftest import make_cast
    from tests.factories import SiteFactory, data_for

    cast, client = make_cast(), Client()
    client.force_login(cast.coordinator)
    sites = [SiteFactory(group=cast.group, code=f"R{number}") for number in range(SITES)]
    for site in sites:
        add_baseline(site, cast.coordinator, cast.other_volunteer)
        set_level(site, cast.coordinator)
        name_contact(site, 1, f"Ines {site.code}", f"{site.code}@rivers.example".lower())
    key = make_key(person=cast.person("volunteer"), name="load", scopes=[Scope.WRITE_VISITS], days=1)
    told = {
        "key": key.text,
        "session": client.cookies["sessionid"].value,
        "clean": [data_for(site) for site in sites],
        "low": [data_for(site, counts=LOW) for site in sites],
        "pages": [
            "/groups/alder-beck/",
            "/groups/alder-beck/visits/",
            "/methods/",
            f"/groups/alder-beck/sites/{site.pk}/",
        ],
    }
    print(json.dumps(told))


@dataclass
class Load:
    """Several clients at once: what they were answered, and the numbers of the visits that were accepted."""

    port: int
    world: dict[str, Any]
    accepted: list[str] = field(default_factory=list)
    statuses: Counter[int] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    longest: float = 0.0
    is_over: threading.Event = field(default_factory=threading.Event)

    def read_pages(self) -> None:
        """A coordinator who opens one page after the other."""
        for page in itertools.cycle(self.world["pages"]):
            if self.is_over.wait(0.15):
                return
            self._ask("GET", page, {"Cookie": f"sessionid={self.world['session']}"})

    def submit_visits(self) -> None:
        """A program of a volunteer that submits; each site is low once, the other visits are not."""
        visits = itertools.chain.from_iterable(zip(self.world["low"], self.world["clean"], strict=True))
        for visit in itertools.chain(visits, itertools.cycle(self.world["clean"])):
            if self.is_over.wait(0.15):
                return
            self._submit(visit | {"id": str(uuid4())})

    def _submit(self, visit: dict[str, Any]) -> None:
        headers = {"Authorization": f"Bearer {self.world['key']}", "Content-Type": "application/json"}
        path = f"/api/v1/groups/alder-beck/visits/{visit['id']}/"
        if self._ask("PUT", path, headers, json.dumps(visit)) in {200, 201}:
            self.accepted.append(visit["id"])

    def _ask(self, method: str, path: str, headers: dict[str, str], body: str | None = None) -> int:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        begun = time.monotonic()
        try:
            line.request(method, path, body, headers | {"Connection": "close"})
            answer = line.getresponse()
            words = answer.read()
        except (OSError, http.client.HTTPException) as fault:
            self.faults.append(f"{method} {path}: {fault!r}")
            return 0
        finally:
            line.close()
        self.longest = max(self.longest, time.monotonic() - begun)
        self.statuses[answer.status] += 1
        if answer.status >= 400:
            self.faults.append(f"{method} {path}: {answer.status} {words[:300]!r}")
        return answer.status


@contextmanager
def under_load(port: int, world: dict[str, Any]) -> Iterator[Load]:
    """The clients at work for the while."""
    load = Load(port, world)
    work = [load.read_pages, load.read_pages, load.submit_visits, load.submit_visits]
    threads = [threading.Thread(target=each) for each in work]
    for thread in threads:
        thread.start()
    try:
        yield load
    finally:
        load.is_over.set()
        for thread in threads:
            thread.join()
