"""Low visits that come in at the same moment: real connections, real locks."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.db import connection

from alerts.models import Incident
from alerts.services import opening, response
from alerts.services.incidents import acknowledge_incident
from portal.accounts.walls import carried
from surveys.models import Site
from tests.alerts.conftest import (
    LOW,
    Watch,
    add_baseline,
    course,
    incidents,
    kinds_to,
    name_contact,
    set_level,
    the_incident,
)
from tests.factories import SiteFactory, submit

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def meet(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Barrier]:
    """Both transactions have saved their visit before either looks for an incident."""
    barrier = threading.Barrier(2, timeout=20)
    real = response._lock_site

    def wait_first(visit: Any) -> None:
        barrier.wait()
        real(visit)

    monkeypatch.setattr(response, "_lock_site", wait_first)
    yield barrier
    barrier.reset()


def at_once(*works: Callable[[], Any]) -> list[BaseException]:
    """Run each in a thread with a connection of its own; return what was raised."""
    raised: list[BaseException] = []

    def run(work: Callable[[], Any]) -> None:
        try:
            work()
        except BaseException as problem:
            raised.append(problem)
        finally:
            connection.close()

    threads = [threading.Thread(target=carried(run), args=(work,)) for work in works]
    for each in threads:
        each.start()
    for each in threads:
        each.join(timeout=60)
    return raised


def low_at(watch: Watch, site: Site, who: str) -> Callable[[], Any]:
    return lambda: submit(watch.cast.person(who), site, counts=LOW)


def test_it_opens_one_incident_for_two_low_visits_at_once(watch: Watch, meet: threading.Barrier) -> None:
    raised = at_once(low_at(watch, watch.site, "volunteer"), low_at(watch, watch.site, "other_volunteer"))
    assert raised == []
    assert the_incident().visits.count() == 2
    assert course(the_incident()) == ["opened", "told", "joined"]
    assert kinds_to("ines@rivers.example") == ["contact.told", "contact.joined"]


def test_it_would_fail_without_the_lock_on_the_site(
    watch: Watch, meet: threading.Barrier, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both would open an incident, and the database's own rule would turn one visit away."""
    found = threading.Barrier(2, timeout=20)
    real = response._incident_of

    def look_together(visit: Any) -> Incident | None:
        incident = real(visit)
        found.wait()
        return incident

    monkeypatch.setattr(response, "_lock_site", lambda visit: None)
    monkeypatch.setattr(response, "_incident_of", look_together)
    numbers: Iterator[int] = iter((1, 2))
    monkeypatch.setattr(opening, "_next_number", lambda group: {"year": 2026, "number": next(numbers)})
    raised = at_once(low_at(watch, watch.site, "volunteer"), low_at(watch, watch.site, "other_volunteer"))
    assert ["one_live_incident_per_site" in str(each) for each in raised] == [True]


def test_it_gives_two_sites_two_numbers_at_once(watch: Watch, meet: threading.Barrier) -> None:
    other = SiteFactory(group=watch.cast.group, code="AB5", name="Old mill")
    add_baseline(other, watch.cast.coordinator, watch.cast.other_volunteer)
    set_level(other, watch.cast.coordinator)
    name_contact(other, 1, "Una Marsh", "una@rivers.example")
    raised = at_once(low_at(watch, watch.site, "volunteer"), low_at(watch, other, "other_volunteer"))
    assert raised == []
    assert sorted(each.number for each in incidents()) == [1, 2]


def test_it_acknowledges_once_for_two_clicks_at_once(watch: Watch) -> None:
    watch.submit_low()
    incident = the_incident()
    both = threading.Barrier(2, timeout=20)

    def click(contact: Any) -> None:
        both.wait()
        acknowledge_incident(incident=incident, contact=contact)

    raised = at_once(lambda: click(watch.first), lambda: click(watch.second))
    assert raised == []
    assert course(incident).count("acknowledged") == 1
