"""Two steps at the same moment take two places in the chain: real connections, real locks."""

from __future__ import annotations

import threading
import time
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps

from alerts.chain.sealing import sealed_form
from alerts.models import EventKind
from alerts.services import events
from alerts.services.events import add_event
from portal.audit.services import history_of, record_change
from tests.alerts import conftest as alerting
from tests.alerts.chain.tampering import checked, run_sql
from tests.alerts.conftest import Watch, the_incident
from tests.alerts.test_side_by_side import at_once
from tests.emptying import past_triggers

watch = alerting.watch
pytestmark = pytest.mark.django_db(transaction=True)


def both_write(monkeypatch: pytest.MonkeyPatch) -> list[BaseException]:
    """Two notes; both writers stand before the chain, and each dawdles between reading its end and writing."""
    barrier = threading.Barrier(2, timeout=20)
    # Read from the module, since a control may have put another in its place.
    lock = vars(events)["locked_incident"]

    def dawdle(step: Any) -> dict[str, Any]:
        time.sleep(0.3)
        return sealed_form(step)

    def wait_first(incident: Any) -> Any:
        barrier.wait()
        return lock(incident)

    monkeypatch.setattr(events, "locked_incident", wait_first)
    monkeypatch.setattr(events, "sealed_form", dawdle)
    return at_once(lambda: write("One."), lambda: write("Two."))


def write(note: str) -> None:
    add_event(the_incident(), EventKind.NOTE, note=note)


def test_two_steps_at_once_take_two_places(watch: Watch, monkeypatch: pytest.MonkeyPatch) -> None:
    watch.submit_low()
    before = checked().steps
    assert both_write(monkeypatch) == []
    places = [each.sequence for each in the_incident().events.order_by("sequence")]
    assert places == list(range(1, before + 3))
    assert not checked().broken


def test_they_would_clash_without_the_lock(watch: Watch, monkeypatch: pytest.MonkeyPatch) -> None:
    watch.submit_low()
    monkeypatch.setattr(events, "locked_incident", the_unlocked)
    (raised,) = both_write(monkeypatch)
    assert "one_place_in_the_chain" in str(raised)


def the_unlocked(_incident: Any) -> Any:
    return the_incident()


def test_steps_from_before_the_chain_are_sealed_by_the_migration(watch: Watch) -> None:
    watch.submit_low()
    run_sql("UPDATE alerts_incidentevent SET sequence = NULL, seal = '', facts = '{}'")
    with past_triggers():
        run_sql("TRUNCATE audit_auditentry", met=False)
    assert "carries no seal" in checked().broken
    import_module("alerts.migrations.0004_seal_old_steps").seal_old_steps(apps, None)
    rows = list(the_incident().events.order_by("at", "id"))
    assert [each.sequence for each in rows] == list(range(1, len(rows) + 1))
    assert all(set(each.facts) == {"sealed_later"} for each in rows)
    assert history_of(the_incident(), watch.cast.group).count() == len(rows)
    write("Goes on.")
    # Its audit rows went with the seals, and with them where its state came from.
    told = {"state": [None, the_incident().state]}
    record_change(actor=None, verb="incident.opened", thing=the_incident(), changes=told)
    assert checked().words.startswith(f"Steps 1–{len(rows) + 1} are unbroken")
