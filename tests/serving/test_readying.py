"""What a web process needs is there before it is made, and out of the garbage collector's sight."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import Any

import pytest
from gunicorn.app.wsgiapp import WSGIApplication

from portal.embedded import commands
from portal.embedded.place import PROJECT
from portal.serving.readying import template_names

# In a process of its own: what is frozen stays so, and other tests look at what garbage is left.
READY = """
import gc, json, sys, threading
import django
django.setup()
from django.db import connection
from django.template import engines
from django.urls import get_resolver
from surveys.offline.release import release
if sys.argv[1] == "web":
    from portal.serving import web_server
    web_server.when_ready(None)
else:
    import portal.celery
    from celery.signals import worker_init
    worker_init.send(sender=None)
frozen, left = gc.get_freeze_count(), len(gc.get_objects())
print(json.dumps({
    "frozen": frozen,
    "left": left,
    "templates": sorted(engines["django"].engine.template_loaders[0].get_template_cache),
    "addresses": get_resolver()._populated,
    "connections": int(connection.connection is not None),
    "releases": release.cache_info().currsize,
    "threads": threading.active_count(),
}))
"""


Told = dict[str, Any]


def told_by(part: str) -> Told:
    done = subprocess.run(
        [sys.executable, "-c", READY, part],
        cwd=PROJECT,
        env=os.environ | {"DJANGO_SETTINGS_MODULE": "portal.settings"},
        stdout=subprocess.PIPE,
        check=True,
        timeout=60,
    )
    found: Told = json.loads(done.stdout)
    return found


@pytest.fixture(scope="module")
def web() -> Told:
    return told_by("web")


@pytest.fixture(scope="module")
def worker() -> Told:
    return told_by("worker")


def test_every_template_of_the_portal_is_read_before_the_first_request(web: Told) -> None:
    names = set(template_names())
    assert {"base.html", "alerts/mail/alert.txt"} <= names
    assert names <= set(web["templates"])
    assert web["addresses"]


@pytest.mark.parametrize("part", ["web", "worker"])
def test_what_stays_is_not_looked_through_again(part: str, request: pytest.FixtureRequest) -> None:
    told = request.getfixturevalue(part)
    assert told["frozen"] > 100 * told["left"]


@pytest.mark.parametrize("part", ["web", "worker"])
def test_nothing_is_there_that_processes_must_not_share(part: str, request: pytest.FixtureRequest) -> None:
    told = request.getfixturevalue(part)
    assert (told["connections"], told["threads"]) == (0, 1)


def test_a_worker_knows_its_release_before_its_first_picture(worker: Told) -> None:
    assert worker["releases"] == 1


def test_gunicorn_reads_its_settings_from_the_portal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", commands.web("127.0.0.1:8000"))
    read = WSGIApplication("").cfg
    assert (read.workers, read.threads, read.preload_app) == (2, 4, True)
    assert read.control_socket_disable
    assert read.when_ready.__module__ == "portal.serving.web_server"
    monkeypatch.setattr(sys, "argv", [*commands.web("127.0.0.1:8000"), "--workers", "3"])
    assert WSGIApplication("").cfg.workers == 3, "a machine with more processors asks for more"
