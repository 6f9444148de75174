"""After a re-scoring: verdicts stand on the score they were reached with and say so; nobody is told again."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from alerts.evidence.of_visit import evidence_of
from alerts.judging.rescored import moved_score
from alerts.models import EventKind, Incident, IncidentEvent, Trigger, Verdict
from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from scoring.sentences import NO_SCORING_TAXON
from surveys.models import Visit, VisitScore
from surveys.queries import visits_of
from surveys.scores.rescoring import rescore_visits
from surveys.services.visits import correct_visit
from surveys.submission.writing import submission_of
from tests.conftest import Cast
from tests.factories import days_ago, submit

pytestmark = pytest.mark.django_db


def set_trigger(cast: Cast, level: float, index: str = "bmwp") -> None:
    Trigger.objects.create(
        group=cast.group,
        site=cast.site,
        index=index,
        level=level,
        valid_from=days_ago(30),
        reason="test",
        despite_provisional=True,
    )


def verdict_of(visit: Visit) -> Verdict:
    return Verdict.objects.filter(group=visit.group_id).select_related("trigger").get(visit=visit)


def notes(visit: Visit) -> list[str]:
    rows = IncidentEvent.objects.of_group(visit.group).filter(visit=visit, kind=EventKind.NOTE)
    return list(rows.values_list("note", flat=True))


def scored_before(visit: Visit, value: float | None, index: str = "bmwp") -> None:
    """Make it look as if an earlier version had given this value, and as if the visit was judged by it."""
    visit.scores.filter(index=index, is_current=True).update(version="0", value=value)
    Verdict.objects.filter(group=visit.group_id, visit=visit).update(value=value)


def rescore(cast: Cast, visit: Visit) -> None:
    rescore_visits(person=None, group=cast.group, visits=[visit.pk])


@pytest.fixture
def below(cast: Cast) -> Visit:
    """A visit below the trigger by the 55 of an earlier version (it is 48 now): incident open, mails owed."""
    set_trigger(cast, 60)
    visit = submit(cast.person("volunteer"), cast.site)
    scored_before(visit, 55)
    return visit


@pytest.fixture
def fine(cast: Cast) -> Visit:
    """A visit not below the trigger by the 90 of an earlier version; by the present one it would be."""
    set_trigger(cast, 40)
    visit = submit(cast.person("volunteer"), cast.site)
    Trigger.objects.filter(group=cast.group).update(level=60)
    scored_before(visit, 90)
    return visit


def page(client: Client, cast: Cast, visit: Visit) -> str:
    client.force_login(cast.volunteer)
    address = reverse("visit_detail", kwargs={"slug": cast.group.slug, "visit_id": visit.pk})
    return " ".join(client.get(address).content.decode().split())


def told(cast: Cast) -> list[int]:
    return [
        Message.objects.filter(group=cast.group).count(),
        Incident.objects.filter(group=cast.group).count(),
        AuditEntry.objects.filter(group=cast.group, verb="verdict.changed").count(),
    ]


def test_it_leaves_the_verdict_with_the_score_it_was_reached_with(cast: Cast, below: Visit) -> None:
    before = told(cast)
    rescore(cast, below)
    verdict = verdict_of(below)
    assert (verdict.outcome, verdict.value) == ("below", 55)
    assert below.scores.get(index="bmwp", is_current=True).value == 48
    assert told(cast) == before


def test_it_raises_no_alert_for_a_score_that_falls_below_by_a_new_version(cast: Cast, fine: Visit) -> None:
    rescore(cast, fine)
    assert (verdict_of(fine).outcome, verdict_of(fine).value) == ("not_below", 90)
    assert not Incident.objects.filter(group=cast.group).exists()
    assert not Message.objects.filter(group=cast.group).exists()


def test_it_takes_no_alert_back_for_a_score_that_rises_by_a_new_version(cast: Cast, below: Visit) -> None:
    scored_before(below, 20)
    Trigger.objects.filter(group=cast.group).update(level=30)
    before = told(cast)
    rescore(cast, below)
    assert (verdict_of(below).outcome, told(cast)) == ("below", before)
    assert Incident.objects.filter(group=cast.group, state="open").exists()


def test_the_visits_page_says_with_which_score_it_was_tested(client: Client, cast: Cast, fine: Visit) -> None:
    assert "Tested with the earlier score" not in page(client, cast, fine)
    rescore(cast, fine)
    shown = page(client, cast, fine)
    assert "Tested with the earlier score, BMWP 90. Scored anew since, it is 48;" in shown
    assert "nobody was told again" in shown


def test_the_visits_page_says_that_there_is_no_score_any_more(client: Client, cast: Cast) -> None:
    set_trigger(cast, 5, "aspt")
    visit = submit(cast.person("volunteer"), cast.site)
    scored_before(visit, 6.857, "aspt")
    visit.counts.all().delete()
    rescore(cast, visit)
    assert visit.scores.get(index="aspt", is_current=True).value is None
    assert verdict_of(visit).value == 6.857
    shown = page(client, cast, visit)
    assert (
        f"Tested with the earlier score, ASPT 6.86. Scored anew since, it has no value: {NO_SCORING_TAXON}"
        in shown
    )


def test_it_says_nothing_where_the_score_is_the_same(client: Client, cast: Cast, below: Visit) -> None:
    scored_before(below, 48)
    rescore(cast, below)
    assert "earlier score" not in page(client, cast, below)
    assert notes(below) == []


def test_it_says_nothing_where_only_another_index_has_changed(cast: Cast, below: Visit) -> None:
    scored_before(below, 48)
    below.scores.filter(index="ntaxa").update(version="0", value=1)
    rescore(cast, below)
    assert below.scores.get(index="ntaxa", is_current=True).value == 7
    assert (moved_score(below, verdict_of(below)), notes(below)) == (None, [])


def test_it_says_nothing_of_a_visit_that_was_not_tested(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    visit.scores.filter(index="bmwp").update(version="0", value=90)
    rescore(cast, visit)
    assert moved_score(visit, verdict_of(visit)) is None


def test_the_incident_notes_what_has_become_of_the_score(cast: Cast, below: Visit) -> None:
    rescore(cast, below)
    assert notes(below) == ["Scored anew: BMWP 48, it was 55. Nobody was told again."]


def test_the_incident_notes_that_there_is_no_score_any_more(cast: Cast) -> None:
    set_trigger(cast, 9, "aspt")
    visit = submit(cast.person("volunteer"), cast.site)
    visit.scores.filter(index="aspt").update(version="0")
    visit.counts.all().delete()
    rescore(cast, visit)
    assert notes(visit) == [
        f"Scored anew: no ASPT any more, it was 6.86. Nobody was told again. {NO_SCORING_TAXON}"
    ]


def test_the_incident_notes_each_change_once(cast: Cast, below: Visit) -> None:
    rescore(cast, below)
    # Another index gets a new version: that is no news of the one that was tested.
    below.scores.filter(index="ntaxa", is_current=True).update(version="0")
    rescore(cast, below)
    assert len(notes(below)) == 1
    VisitScore.objects.of_group(cast.group).filter(index="bmwp", is_current=True).update(version="1", value=50)
    rescore(cast, below)
    assert len(notes(below)) == 2


@pytest.mark.parametrize(("was", "shown"), [(6.86, ("6.860", "6.857")), (6.9, ("6.90", "6.86"))])
def test_it_prints_as_many_decimals_as_tell_the_two_apart(
    cast: Cast, was: float, shown: tuple[str, str]
) -> None:
    set_trigger(cast, 5, "aspt")
    visit = submit(cast.person("volunteer"), cast.site)
    scored_before(visit, was, "aspt")
    rescore(cast, visit)
    moved = moved_score(visit, verdict_of(visit))
    assert moved is not None
    assert (moved.was, moved.now) == shown


def test_the_page_of_the_incident_says_it_beside_the_score(client: Client, cast: Cast, below: Visit) -> None:
    rescore(cast, below)
    client.force_login(cast.volunteer)
    incident = Incident.objects.filter(group=cast.group).get()
    shown = client.get(reverse("incident_detail", kwargs={"incident_id": incident.pk})).content.decode()
    assert "Tested with the earlier score, BMWP 55." in shown
    assert "Scored anew: BMWP 48, it was 55." in shown


def test_the_limits_of_the_new_score_are_not_given_for_the_earlier_one(cast: Cast) -> None:
    set_trigger(cast, 0.9, "simpson")
    counts = [{"taxon": "Baetidae", "range": "10-99"}, {"taxon": "Elmidae", "count": "5"}]
    visit = submit(cast.person("volunteer"), cast.site, counts=counts)
    assert evidence_of(visit, verdict_of(visit)).possible
    scored_before(visit, 0.1, "simpson")
    rescore(cast, visit)
    assert evidence_of(visit, verdict_of(visit)).possible == ""


def test_a_correction_judges_by_the_new_score_again(cast: Cast, below: Visit) -> None:
    rescore(cast, below)
    person = cast.person("coordinator")
    submission = submission_of(below)
    changed = submission.__class__(**{**submission.__dict__, "notes": "Seen again."})
    correct_visit(person=person, visit=below, submission=changed, reason="A note was missing.")
    assert (verdict_of(below).value, moved_score(below, verdict_of(below))) == (48, None)


def test_it_needs_no_query_where_the_scores_are_fetched(
    cast: Cast, fine: Visit, django_assert_num_queries: Any
) -> None:
    rescore(cast, fine)
    (visit,) = visits_of(cast.group)
    verdict = verdict_of(visit)
    with django_assert_num_queries(0):
        moved = moved_score(visit, verdict)
    assert moved is not None
    assert (moved.was, moved.now) == ("90", "48")


def test_a_verdict_whose_score_is_gone_says_so(cast: Cast, fine: Visit) -> None:
    fine.scores.filter(index="bmwp").delete()
    moved = moved_score(fine, verdict_of(fine))
    assert moved is not None
    assert (moved.was, moved.now, moved.since) == ("90", "", None)


@pytest.mark.parametrize(("value", "is_earlier"), [(90.0, True), (48.0, False), (48 + 1e-9, False)])
def test_programs_learn_whether_the_score_is_an_earlier_one(
    client: Client, cast: Cast, fine: Visit, value: float, is_earlier: bool
) -> None:
    scored_before(fine, value)
    rescore(cast, fine)
    client.force_login(cast.volunteer)
    address = reverse("api_verdict", kwargs={"slug": cast.group.slug, "number": fine.pk})
    answer = json.loads(client.get(address).content)
    assert (answer["value"], answer["is_earlier_score"]) == (value, is_earlier)
