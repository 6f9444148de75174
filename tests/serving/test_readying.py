"""What a web process needs is there before it is made, and out of the garbage collector's sight."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest
from gunicorn.app.wsgiapp import WSGIApplication

from portal.embedded import commands
from portal.embedded.place import PROJECT
from portal.serving.readying import template_names

# In a process of its own: what is frozen stays so, and other tests look at what garbage is left.
READY = """
import gc, json, threading
import django
django.setup()
from django.db import connection
from django.template import engines
from django.urls import get_resolver
from portal.serving import web_server
web_server.when_ready(None)
frozen, left = gc.get_freeze_count(), len(gc.get_objects())
print(json.dumps({
    "frozen": frozen,
    "left": left,
    "templates": sorted(engines["django"].engine.template_loaders[0].get_template_cache),
    "addresses": get_resolver()._populated,
    "connections": int(connection.connection is not None),
    "threads": threading.active_count(),
}))
"""


@pytest.fixture(scope="module")
def ready() -> dict[str, object]:
    environment = os.environ | {"DJANGO_SETTINGS_MODULE": "portal.settings"}
    said = subprocess.run(
        [sys.executable, "-c", READY],
        cwd=PROJECT,
        env=environment,
        stdout=subprocess.PIPE,
        check=True,
        timeout=60,
    )
    found: dict[str, object] = json.loads(said.stdout)
    return found


def test_every_template_of_the_portal_is_read_before_the_first_request(ready: dict[str, object]) -> None:
    names = set(template_names())
    assert {"base.html", "alerts/mail/alert.txt"} <= names
    assert names <= set(ready["templates"])  # type: ignore[call-overload]
    assert ready["addresses"]


def test_what_stays_is_not_looked_through_again(ready: dict[str, object]) -> None:
    assert ready["frozen"] > 100 * ready["left"]  # type: ignore[operator]


def test_nothing_is_there_that_processes_must_not_share(ready: dict[str, object]) -> None:
    assert (ready["connections"], ready["threads"]) == (0, 1)


def test_gunicorn_reads_its_settings_from_the_portal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", commands.web("127.0.0.1:8000"))
    read = WSGIApplication("").cfg
    assert (read.workers, read.threads, read.preload_app) == (2, 4, True)
    assert read.control_socket_disable
    assert read.when_ready.__module__ == "portal.serving.web_server"
    monkeypatch.setattr(sys, "argv", [*commands.web("127.0.0.1:8000"), "--workers", "3"])
    assert WSGIApplication("").cfg.workers == 3, "a machine with more processors asks for more"
