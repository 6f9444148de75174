"""What a volunteer does on a Sunday evening: reads most of the time, now and then sends a visit.

LOAD_PEOPLE names the file of players that `tests.load.sunday` has written.
"""

from __future__ import annotations

import itertools
import json
import os
import random
from pathlib import Path
from typing import Any
from uuid import uuid4

from locust import HttpUser, between, events, task

PEOPLE = itertools.cycle(json.loads(Path(os.environ["LOAD_PEOPLE"]).read_text()))
TOKEN = "t" * 32
# What the portal promises: none refused, and 95 of 100 answers within so many ms.
LIMIT_MS = int(os.environ.get("LOAD_LIMIT_MS", "500"))


class Volunteer(HttpUser):
    """One person with a session; thinks between two pages."""

    wait_time = between(4, 14)

    def on_start(self) -> None:
        """Signed in already, over the proxy's TLS."""
        self.me: dict[str, Any] = next(PEOPLE)
        self.client.cookies.update({"__Host-sessionid": self.me["session"], "__Host-csrftoken": TOKEN})
        self.client.headers.update({"X-Forwarded-Proto": "https", "X-Forwarded-For": "192.0.2.7"})
        self.cookie = f"__Host-sessionid={self.me['session']}; __Host-csrftoken={TOKEN}"

    def read(self, address: str, name: str) -> None:
        """A page counts only when it comes: whoever is sent to sign in has not read it."""
        cookie = {"Cookie": self.cookie}
        with self.client.get(
            address, name=name, headers=cookie, allow_redirects=False, catch_response=True
        ) as page:
            if page.status_code != 200:
                page.failure(f"{page.status_code} {page.headers.get('Location', '')}")

    def own(self, path: str) -> str:
        return f"/groups/{self.me['slug']}/{path}"

    @task(5)
    def desk(self) -> None:
        self.read(self.own(""), "desk")

    @task(4)
    def site(self) -> None:
        self.read(self.own(f"sites/{random.choice(self.me['sites'])}/"), "site")

    @task(3)
    def visits(self) -> None:
        self.read(self.own("visits/"), "list of visits")

    @task(2)
    def form(self) -> None:
        site = random.choice(self.me["sites"])
        self.read(f"/bank/{self.me['slug']}/sites/{site}/visit/", "visit form")

    @task(3)
    def submit(self) -> None:
        visit = random.choice(self.me["visits"]) | {"id": str(uuid4())}
        headers = {
            "Cookie": self.cookie,
            "X-CSRFToken": TOKEN,
            "Referer": "https://localhost/bank/",
            "X-Rifflebook-Person": self.me["person"],
        }
        path = f"/api/v1/groups/{self.me['slug']}/visits/{visit['id']}/"
        self.client.put(path, json=visit, name="send a visit", headers=headers)


@events.quitting.add_listener
def judge(environment: Any, **_others: Any) -> None:
    """The exit status tells whether the promise was kept."""
    total = environment.stats.total
    late = total.get_response_time_percentile(0.95)
    kept = total.num_requests > 0 and total.num_failures == 0 and late <= LIMIT_MS
    promise = f"95 of 100 within {late} ms of {LIMIT_MS}"
    print(f"{total.num_requests} requests, {total.num_failures} failed, {promise}")
    environment.process_exit_code = 0 if kept else 1
