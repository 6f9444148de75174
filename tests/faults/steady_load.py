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
    """Print what `make_world` tells, as JSON."""
    django.setup()
    from portal.accounts.walls import wide

    with wide("a world is made"):
        print(json.dumps(make_world()))


def make_world() -> dict[str, Any]:
    """Found a group whose sites can each raise an alert; returns what a client must know to read and submit."""
    from django.test import Client

    from tests.conftest import make_cast
    from tests.factories import SiteFactory

    cast, client = make_cast(), Client()
    client.force_login(cast.volunteer)
    sites = [SiteFactory(group=cast.group, code=f"R{number}") for number in range(SITES)]
    for site in sites:
        put_under_watch(site, cast)
    return visits_of(sites) | {
        "key": key_of(cast.person("volunteer")),
        "session": client.cookies["sessionid"].value,
        "pages": [f"/groups/alder-beck/{page}" for page in ("", "visits/", f"sites/{sites[0].pk}/")],
    }


def put_under_watch(site: Any, cast: Any) -> None:
    """A baseline, a trigger and a contact."""
    from tests.alerts.conftest import add_baseline, name_contact, set_level

    add_baseline(site, cast.coordinator, cast.other_volunteer)
    set_level(site, cast.coordinator)
    name_contact(site, 1, f"Ines {site.code}", f"{site.code}@rivers.example".lower())


def visits_of(sites: list[Any]) -> dict[str, Any]:
    """An ordinary visit and a low one for each site, as they are sent."""
    from tests.alerts.conftest import LOW
    from tests.factories import data_for

    return {"clean": [data_for(site) for site in sites], "low": [data_for(site, counts=LOW) for site in sites]}


def key_of(person: Any) -> str:
    """A key that may submit visits."""
    from portal.tokens.models import Scope
    from portal.tokens.services import make_key

    return make_key(person=person, name="load", scopes=[Scope.WRITE_VISITS], days=1).text


@dataclass
class Load:
    """Several clients at once: what they were answered, and the numbers of the visits that were accepted."""

    port: int
    world: dict[str, Any]
    accepted: list[str] = field(default_factory=list)
    statuses: Counter[int] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    # What each refused request was told to wait, s.
    waits: list[str | None] = field(default_factory=list)
    longest: float = 0.0
    is_over: threading.Event = field(default_factory=threading.Event)

    def read_page(self, page: str) -> int:
        """One page as a volunteer; returns the status, 0 where there was no answer."""
        return self._ask("GET", page, {"Cookie": f"sessionid={self.world['session']}"})

    def read_pages(self) -> None:
        """A volunteer who opens one page after the other."""
        for page in itertools.cycle(self.world["pages"]):
            if self.is_over.wait(0.15):
                return
            self.read_page(page)

    def submit_visits(self) -> None:
        """A program of a volunteer that submits; each site is low once, the other visits are not."""
        visits = itertools.chain.from_iterable(zip(self.world["low"], self.world["clean"], strict=True))
        for visit in itertools.chain(visits, itertools.cycle(self.world["clean"])):
            if self.is_over.wait(0.15):
                return
            self.submit(visit | {"id": str(uuid4())})

    def submit(self, visit: dict[str, Any]) -> int:
        """One visit under its number; returns the status likewise."""
        headers = {"Authorization": f"Bearer {self.world['key']}", "Content-Type": "application/json"}
        path = f"/api/v1/groups/alder-beck/visits/{visit['id']}/"
        status = self._ask("PUT", path, headers, json.dumps(visit))
        if status in {200, 201}:
            self.accepted.append(visit["id"])
        return status

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
        if answer.status == 503:
            self.waits.append(answer.headers.get("Retry-After"))
        if answer.status >= 400:
            self.faults.append(f"{method} {path}: {answer.status} {words[:1500]!r}")
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
