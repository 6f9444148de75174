"""A grown portal holds what the real way in would have made of the same records."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection, transaction
from pytest_django import DjangoDbBlocker

from alerts.chain.checking import check_chain
from alerts.models import Incident, Verdict
from portal.accounts.models import Group, User
from portal.audit.gaps import all_unexplained_changes
from portal.audit.models import AuditEntry
from portal.growing.extent import Extent
from portal.growing.growing import NotEmpty, grow
from portal.growing.visiting import LARGE
from surveys.models import Site, TaxonCount, Visit, VisitScore
from surveys.services.visits import submit_visit
from surveys.submission.writing import submission_of
from tests.factories import person_for
from tests.growing.built import built_as
from tests.lasting import lasting_rows
from tests.owner import as_owner

UNTIL = date(2026, 6, 1)
EXTENT = Extent(groups=2, sites=9, years=2, until=UNTIL, seed=5)
WHY = "a test looks at all of them"

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def grown(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[list[str]]:
    """A small portal; what was told while it grew."""
    said: list[str] = []
    with lasting_rows(django_db_blocker), as_owner():
        before = built_as(LARGE)
        grow(EXTENT, say=said.append)
        assert built_as(LARGE) == before
        yield said


def all_visits() -> list[Visit]:
    rows = Visit.objects.across_groups(WHY).select_related("entered_by", "site", "verdict__trigger")
    return list(rows.order_by("visited_on", "pk"))


def scores_of(visit: Visit) -> set[tuple[Any, ...]]:
    rows = VisitScore.objects.across_groups(WHY).filter(visit=visit, is_current=True)
    # Many at once are rounded to nine decimals, one alone is not.
    return {
        (each.index, each.version, rounded(each.value), each.low, each.high, each.why_none, *each.left_out)
        for each in rows
    }


def rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 9)


def verdict_of(visit: Visit) -> tuple[Any, ...]:
    verdict = Verdict.objects.across_groups(WHY).get(visit=visit)
    return verdict.outcome, verdict.trigger_id, rounded(verdict.value), verdict.reasons, verdict.set_aside


def findings_of(visit: Visit) -> set[tuple[str, str]]:
    return {(each.field, each.message) for each in visit.findings.filter(rule="effort_off_plan")}


def submitted_anew(visit: Visit) -> Visit:
    """The same record under another number, by the way that page, interface and spreadsheet take."""
    again = replace(submission_of(visit), id=uuid4())
    return submit_visit(person=person_for(visit.entered_by), submission=again).visit


def some_of_each_kind(visits: list[Visit]) -> dict[tuple[str, ...], list[Visit]]:
    """By outcome and kinds of reasons: at most five visits of each, the newest."""
    found: dict[tuple[str, ...], list[Visit]] = {}
    for visit in visits:
        reasons = [*visit.verdict.reasons, *visit.verdict.set_aside]
        kind = (visit.verdict.outcome, *(each.partition(".")[0] for each in reasons))
        found[kind] = [*found.get(kind, []), visit][-5:]
    return found


def test_visits_are_scored_and_judged_as_if_they_had_been_submitted(grown: list[str]) -> None:
    chosen = some_of_each_kind(all_visits())
    for visit in (each for kind in chosen.values() for each in kind):
        with transaction.atomic():
            anew = submitted_anew(visit)
            assert scores_of(anew) == scores_of(visit)
            assert verdict_of(anew) == verdict_of(visit), visit.visited_on
            assert findings_of(anew) == findings_of(visit)
            transaction.set_rollback(True)
    # The comparison says nothing of what did not occur.
    outcomes = {(kind[0], *kind[1:2]) for kind in chosen}
    assert {("not_below",), ("below",), ("not_tested", "no_trigger"), ("not_tested", "not_made")} <= outcomes
    assert {"effort", "spate", "provisional"} <= {word for each in chosen for word in each}


def test_it_has_as_many_rows_as_were_asked_for(grown: list[str]) -> None:
    visits = all_visits()
    assert len(visits) == 2 * 9 * 24
    assert Group.objects.count() == 2
    assert Site.objects.across_groups(WHY).count() == 18
    counts = TaxonCount.objects.across_groups(WHY)
    made = [each for each in visits if each.was_made]
    assert counts.count() == 20 * len(made)
    assert {each.visited_on < UNTIL for each in visits} == {True}
    assert {each.status for each in visits} == {"approved", "waiting", "returned"}


def test_every_course_of_an_incident_is_sealed(grown: list[str]) -> None:
    incidents = list(Incident.objects.across_groups(WHY))
    below = Verdict.objects.across_groups(WHY).filter(outcome="below")
    assert len(incidents) == below.count() > 0
    assert [chain.words for chain in map(check_chain, incidents) if chain.broken] == []
    assert {each.state for each in incidents} >= {"closed"}


def test_nothing_of_it_looks_changed_past_the_portal(grown: list[str]) -> None:
    assert not all_unexplained_changes().exists()
    assert AuditEntry.objects.across_groups(WHY).filter(verb="visit.submitted").count() == len(all_visits())


def test_nobody_can_sign_in(grown: list[str]) -> None:
    assert not any(each.has_usable_password() for each in User.objects.all())


def test_it_tells_how_far_it_is(grown: list[str]) -> None:
    assert [each for each in grown if each.endswith("432 visits")]
    assert grown[-1] == "Telling the database what it holds"


def test_where_there_are_groups_it_grows_only_when_told(grown: list[str]) -> None:
    with pytest.raises(NotEmpty):
        grow(EXTENT)
    more = grow(replace(EXTENT, groups=1, years=1, first=3), beside_others=True)
    assert (more.groups, more.visits, Group.objects.count()) == (1, 9 * 12, 3)


def test_tables_are_built_as_before_and_watched(grown: list[str]) -> None:
    """Keys are in force again: what refers to nothing is refused, and so is a second count of a taxon."""
    count = TaxonCount.objects.across_groups(WHY).earliest("pk")
    with pytest.raises(Exception, match="taxon_once_in_a_visit"), transaction.atomic():
        TaxonCount.objects.create(visit=count.visit, taxon=count.taxon, count=1)
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_trigger WHERE tgenabled = 'D'")
        assert cursor.fetchone() == (0,)
