"""Owes messages by the line, as web servers do: a process of its own, on servers of the benchmark.

Each line of its input names what to owe: "plain 1000 a" or "alert 1000 b" at one instant, in one
transaction; "new 1 c" by the service, as an accepted visit does. It answers with the moment of the commit, s on
the machine's monotonic clock.
"""

from __future__ import annotations

import os
import sys
import time
from typing import TYPE_CHECKING
from unittest.mock import patch

import django

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from portal.outbox.models import Message

# Each has an incident of its own, and thereby a picture.
SITES = int(os.environ.get("OWED_SITES", "10"))


def main() -> None:
    django.setup()
    from portal.accounts.walls import wide

    with wide("a benchmark owes"):
        _make_alerts()
        print("ready", flush=True)
        for line in sys.stdin:
            kind, count, prefix = line.split()
            print(_owe(kind, int(count), prefix), flush=True)
    # The thread that nudges ends with the process.
    time.sleep(1)


def _make_alerts() -> None:
    """Low visits at sites under watch, submitted the real way: what they owe is copied later."""
    from tests.alerts.conftest import LOW
    from tests.conftest import make_cast
    from tests.factories import SiteFactory, submit
    from tests.faults.steady_load import put_under_watch

    cast = make_cast()
    with patch("portal.outbox.services.nudge"):
        for number in range(SITES):
            site = SiteFactory(group=cast.group, code=f"R{number}")
            put_under_watch(site, cast)
            submit(cast.person("volunteer"), site, counts=LOW)
    _all().update(state="cancelled")


def _all() -> QuerySet[Message]:
    from portal.outbox.models import Message

    return Message.objects.across_groups("benchmark")


def _owe(kind: str, count: int, prefix: str) -> float:
    from portal.outbox.models import Message
    from portal.outbox.nudging import nudge
    from portal.outbox.services import owe_message

    if kind == "new":
        owe_message(key=prefix, kind="alert", to_address="a@agency.example", subject=prefix, text="x")
        return time.monotonic()
    make = _plain if kind == "plain" else _copy
    messages = Message.objects.bulk_create(make(prefix, number) for number in range(count))
    committed = time.monotonic()
    for each in messages:
        nudge(each.id)
    return committed


def _plain(prefix: str, number: int) -> Message:
    from portal.outbox.models import Message

    name = f"{prefix}{number}"
    return Message(key=name, kind="alert", to_address="a@agency.example", subject=name, text="x")


_alerts: list[Message] = []


def _copy(prefix: str, number: int) -> Message:
    """An alert as contacts get it, in turn of each site, under a key and subject of its own."""
    if not _alerts:
        _alerts.extend(_all().filter(kind="contact.told"))
    alert = _alerts[number % len(_alerts)]
    fields = {each.attname: getattr(alert, each.attname) for each in alert._meta.fields}
    name = f"{prefix}{number}"
    for dropped in ("id", "created_at", "not_before"):
        del fields[dropped]
    return type(alert)(**fields | {"key": name, "subject": name, "state": "owed"})


if __name__ == "__main__":
    main()
