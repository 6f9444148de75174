"""Web servers, workers and scheduler are replaced one by one under load, with `migrate` in the middle."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.faults.conftest import mail_url
from tests.faults.portals import NEXT, build_world, migrate, portal_with, read
from tests.faults.round_robin import taking_turns
from tests.faults.servers import Servers
from tests.faults.soaking import Sink, sinking
from tests.faults.steady_load import SITES, under_load
from tests.processes import await_true
from tests.states import temporary_state

pytestmark = [pytest.mark.faults, pytest.mark.long]
STORED = "SELECT id::text FROM surveys_visit WHERE source = 'api'"
ALERTS = "SELECT count(DISTINCT incident_id) FROM alerts_incidentevent"


@pytest.fixture
def servers() -> Iterator[Servers]:
    with temporary_state() as state, ExitStack() as stack:
        made = Servers(state, stack)
        migrate(made)
        yield made


@pytest.fixture
def sink() -> Iterator[Sink]:
    with sinking() as made:
        yield made


def test_a_release_takes_the_place_of_another_under_load_and_nothing_is_lost(
    servers: Servers, sink: Sink, tmp_path: Path
) -> None:
    world = build_world(servers)
    parts = ["web0", "web1", "worker0", "worker1", "beat"]
    with portal_with(servers.environment | {"EMAIL_URL": mail_url(sink.port)}, tmp_path) as portal:
        portal.start(*parts)
        with taking_turns(portal.webs) as proxy, under_load(proxy.port, world) as load:
            await_true(lambda: len(load.accepted) > 10, f"Nothing is accepted: {load.faults[:2]}")
            migrate(servers, NEXT)
            for part in parts:
                portal.replace(part)
            before = proxy.served.copy()
            await_true(
                lambda: all(proxy.served[web] > before[web] + 10 for web in portal.webs), "A web is idle."
            )

        print(
            f"\n{len(load.accepted)} visits, {load.statuses}, longest {load.longest:.1f} s,"
            f" {proxy.turned_away} asked of a server that was away"
        )
        assert load.faults == []
        stored = [number for (number,) in read(servers.database, STORED)]
        assert sorted(map(str, stored)) == sorted(load.accepted)
        assert len(stored) > 2 * SITES
        check_alerts(servers, sink)


def check_alerts(servers: Servers, sink: Sink) -> None:
    """Every site has its incident, and every mail that is owed for it has left, once."""
    assert read(servers.database, ALERTS) == [(SITES,)]
    await_true(lambda: set(servers.states()) == {"sent"}, f"Owed: {servers.states()}")
    numbers = [copy.number for copy in sink.copies]
    owed = read(servers.database, "SELECT id FROM outbox_message")
    assert len(numbers) == len(set(numbers)) == len(owed) >= SITES
