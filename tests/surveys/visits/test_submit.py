"""Taking in a visit: one transaction from check to signal."""

from __future__ import annotations

from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoAssertNumQueries

from alerts.models import Trigger, Verdict
from portal.audit.services import history_of
from surveys.errors import Conflict
from surveys.models import Draft, Finding, Photo, Visit, VisitScore
from surveys.models.visits import Source, Status
from surveys.services.visits import submit_visit
from surveys.signals import visit_judged
from surveys.submission import InvalidSubmission, Problem
from tests.conftest import Cast
from tests.factories import (
    SiteFactory,
    VisitFactory,
    data_for,
    days_ago,
    person_for,
    submission_for,
    submit,
)


def problems_of(cast: Cast, **changes: Any) -> dict[str, Problem]:
    """Submit what must be refused and return the problems by field."""
    with pytest.raises(InvalidSubmission) as refused:
        submit(cast.person("volunteer"), cast.site, **changes)
    assert not Visit.objects.of_group(cast.group).exists()
    return {each.field: each for each in refused.value.problems}


def test_it_saves_everything_that_was_entered(cast: Cast) -> None:
    visit = submit(
        cast.person("volunteer"),
        cast.site,
        notes="Kingfisher seen.",
        counts=[
            {"taxon": "Baetis rhodani", "count": "12"},
            {"taxon": "Gammaridae", "range": "10-99"},
            {"taxon": "Asellidae", "count": "0"},
        ],
    )
    visit.refresh_from_db()
    assert (visit.group, visit.site, visit.status) == (cast.group, cast.site, Status.WAITING)
    assert (visit.entered_by, visit.recorder, visit.partner_name) == (
        cast.volunteer,
        cast.volunteer,
        "Sam Example",
    )
    assert visit.notes == "Kingfisher seen."
    assert [(spot.number, spot.kicks, spot.seconds) for spot in visit.spots.all()] == [
        (1, 3, Decimal(30)),
        (2, 3, Decimal(30)),
        (3, 3, Decimal(30)),
    ]
    assert [(row.taxon, row.recorded_as, row.count, row.low, row.high) for row in visit.counts.all()] == [
        ("Baetidae", "Baetis rhodani", 12, None, None),
        ("Gammaridae", "", None, 10, 99),
        ("Asellidae", "", 0, None, None),
    ]
    assert sorted(visit.measurements.values_list("quantity", "as_typed")) == [
        ("oxygen", "10.5"),
        ("ph", "7.9"),
        ("temperature", "11.4"),
    ]


def test_it_scores_with_the_version_of_each_method(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    scores = {score.index: score for score in visit.scores.all()}
    # 10 + 10 + 10 + 7 + 5 + 4 + 2 over seven families, by hand from the published table.
    assert scores["bmwp"].value == 48
    assert scores["ntaxa"].value == 7
    assert scores["aspt"].value == pytest.approx(48 / 7)
    assert scores["ept_families"].value == 5
    assert all(score.version and score.is_current for score in scores.values())


def test_it_says_what_scoring_left_out(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, counts={"Baetidae": 3, "Hydracarina": 2})
    assert visit.scores.get(index="bmwp").left_out == ["Hydracarina"]


def test_it_scores_a_finer_name_as_a_taxon_of_its_own_for_diversity(cast: Cast) -> None:
    visit = submit(
        cast.person("volunteer"), cast.site, counts={"Baetis rhodani": 5, "Centroptilum luteolum": 5}
    )
    scores = {score.index: score.value for score in visit.scores.all()}
    assert (scores["bmwp"], scores["ntaxa"], scores["richness"]) == (4, 1, 2)


def test_it_writes_an_audit_row_with_the_visit(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    entry = history_of(visit, cast.group).get()
    assert (entry.verb, entry.actor, entry.group) == ("visit.submitted", cast.volunteer, cast.group)


def test_it_tells_the_floor_above_inside_the_transaction(cast: Cast) -> None:
    heard: list[dict[str, Any]] = []

    def listen(sender: type[Visit], **told: Any) -> None:
        heard.append({"sender": sender, **told})

    visit_judged.connect(listen)
    try:
        person = cast.person("volunteer")
        visit = submit(person, cast.site)
    finally:
        visit_judged.disconnect(listen)
    assert [(each["sender"], each["visit"], each["event"], each["person"]) for each in heard] == [
        (Visit, visit, "submitted", person)
    ]


def test_it_saves_nothing_when_a_listener_fails(cast: Cast) -> None:
    def fail(**told: Any) -> None:
        raise RuntimeError("the floor above fell over")

    visit_judged.connect(fail)
    try:
        with pytest.raises(RuntimeError, match="fell over"):
            submit(cast.person("volunteer"), cast.site)
    finally:
        visit_judged.disconnect(fail)
    assert not Visit.objects.of_group(cast.group).exists()
    assert not VisitScore.objects.of_group(cast.group).exists()


def test_it_answers_a_resend_with_the_first_result(cast: Cast) -> None:
    person, submission = cast.person("volunteer"), submission_for(cast.site)
    first = submit_visit(person=person, submission=submission)
    again = submit_visit(person=person, submission=submission)
    assert (first.is_new, again.is_new) == (True, False)
    assert again.visit == first.visit
    assert Visit.objects.of_group(cast.group).count() == 1
    assert history_of(first.visit, cast.group).count() == 1


def test_it_does_not_change_the_visit_when_a_resend_differs(cast: Cast) -> None:
    person = cast.person("volunteer")
    first = submit(person, cast.site, notes="first")
    submit(person, cast.site, id=str(first.pk), notes="second")
    first.refresh_from_db()
    assert first.notes == "first"


@pytest.fixture
def _nobody_listens(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the floor above does with a visit is its own budget."""
    monkeypatch.setattr(visit_judged, "receivers", [])


@pytest.mark.parametrize("role", ["other_volunteer", "neighbour_volunteer"])
def test_it_refuses_a_number_that_is_somebody_elses(cast: Cast, role: str) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    site = cast.neighbour_site if role.startswith("neighbour") else cast.site
    with pytest.raises(Conflict):
        submit(cast.person(role), site, id=str(visit.pk))


def test_it_refuses_the_number_of_somebody_elses_draft(cast: Cast) -> None:
    draft = Draft.objects.create(id=uuid4(), group=cast.group, site=cast.site, entered_by=cast.other_volunteer)
    with pytest.raises(Conflict):
        submit(cast.person("volunteer"), cast.site, id=str(draft.pk))
    assert not Visit.objects.of_group(cast.group).exists()
    assert Draft.objects.of_group(cast.group).filter(pk=draft.pk).exists()


def test_it_removes_the_draft_and_keeps_its_photos(cast: Cast) -> None:
    number = uuid4()
    Draft.objects.create(id=number, group=cast.group, site=cast.site, entered_by=cast.volunteer)
    Photo.objects.create(group=cast.group, visit_number=number, file="photos/one.jpg")
    submit(cast.person("volunteer"), cast.site, id=str(number))
    assert not Draft.objects.of_group(cast.group).exists()
    assert Photo.objects.of_group(cast.group).filter(visit_number=number).count() == 1


def test_it_keeps_the_draft_when_there_are_errors(cast: Cast) -> None:
    number = uuid4()
    Draft.objects.create(
        id=number, group=cast.group, site=cast.site, entered_by=cast.volunteer, data={"notes": "long"}
    )
    with pytest.raises(InvalidSubmission):
        submit(cast.person("volunteer"), cast.site, id=str(number), visited_on=days_ago(-3).isoformat())
    assert Draft.objects.of_group(cast.group).get().data == {"notes": "long"}


def test_it_does_not_know_a_site_of_another_group(cast: Cast) -> None:
    with pytest.raises(InvalidSubmission) as refused:
        submit(cast.person("volunteer"), cast.neighbour_site)
    assert [each.field for each in refused.value.problems] == ["site"]


def test_it_takes_nothing_from_a_stranger(cast: Cast) -> None:
    with pytest.raises(InvalidSubmission):
        submit(cast.person("stranger"), cast.site)


def test_it_reports_every_error_at_its_field_at_once(cast: Cast) -> None:
    found = problems_of(
        cast,
        visited_on=days_ago(-1).isoformat(),
        ended_at="09:00",
        counts={"Baetidae": 3, "baetidae": 4},
    )
    assert set(found) == {"visited_on", "ended_at", "counts.Baetidae"}


def test_it_sends_findings_along_with_the_visit(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site, partner_name="", water_level="spate")
    findings = {finding.rule: finding for finding in visit.findings.all()}
    assert set(findings) == {"alone", "spate"}
    assert findings["alone"].decision == Finding.Decision.OPEN
    assert "second adult" in findings["alone"].message


def test_it_takes_a_visit_that_could_not_be_made(cast: Cast) -> None:
    visit = submit(
        cast.person("volunteer"),
        cast.site,
        was_made=False,
        not_made_reason="too_high",
        spots=[],
        measurements={},
        counts=[],
    )
    assert (visit.was_made, visit.not_made_reason) == (False, "too_high")
    assert not visit.scores.exists()
    assert not visit.findings.exists()


def test_it_loads_past_records_only_for_coordinators(cast: Cast) -> None:
    submission = submission_for(cast.site)
    with pytest.raises(PermissionDenied):
        submit_visit(person=cast.person("volunteer"), submission=submission, past_record=True)
    receipt = submit_visit(person=cast.person("coordinator"), submission=submission, past_record=True)
    assert receipt.visit.is_past_record
    assert receipt.visit.recorder is None
    assert history_of(receipt.visit, cast.group).get().verb == "visit.imported"


def test_it_tells_of_a_past_record_as_imported(cast: Cast) -> None:
    events: list[str] = []

    def listen(event: str, **told: Any) -> None:
        events.append(event)

    visit_judged.connect(listen)
    try:
        submit_visit(person=cast.person("coordinator"), submission=submission_for(cast.site), past_record=True)
    finally:
        visit_judged.disconnect(listen)
    assert events == ["imported"]


def test_it_keeps_where_the_visit_came_from(cast: Cast) -> None:
    receipt = submit_visit(
        person=cast.person("volunteer"), submission=submission_for(cast.site), source=Source.API
    )
    assert receipt.visit.source == Source.API


@pytest.mark.usefixtures("_nobody_listens")
def test_it_takes_twenty_taxa_in_at_most_nine_queries(
    cast: Cast, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    taxa = list(cast.site.recording_list.taxa.values_list("taxon", flat=True)[:20])
    person = cast.person("volunteer")
    submission = submission_for(cast.site, counts=dict.fromkeys(taxa, 5))
    for days in range(2, 9):
        VisitFactory(site=cast.site, visited_on=days_ago(days))
    with django_assert_max_num_queries(9):
        visit = submit_visit(person=person, submission=submission).visit
    assert visit.counts.count() == 20


@pytest.mark.usefixtures("_nobody_listens")
def test_it_needs_no_more_queries_for_eighty_taxa(
    cast: Cast, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    taxa = list(cast.site.recording_list.taxa.values_list("taxon", flat=True)[:80])
    submission = submission_for(cast.site, counts=dict.fromkeys(taxa, 5))
    person = cast.person("volunteer")
    with django_assert_max_num_queries(9):
        submit_visit(person=person, submission=submission)


def test_it_goes_by_the_site_of_the_persons_other_group_too(cast: Cast) -> None:
    from tests.factories import MembershipFactory

    MembershipFactory(group=cast.neighbour, user=cast.volunteer)
    visit = submit(person_for(cast.volunteer), cast.neighbour_site)
    assert visit.group == cast.neighbour


def test_it_uses_the_recording_list_the_site_has_now(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), SiteFactory(group=cast.group, code="AB2"))
    assert visit.recording_list.slug == "family"
    assert isinstance(visit.pk, UUID)
    assert str(data_for(cast.site)["site"]) == str(cast.site.pk)


def test_it_takes_a_visit_in_and_judges_it_in_at_most_twelve_queries(
    cast: Cast, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    """With alerts listening, for a site with a trigger: what a volunteer on the bank waits for."""
    fields: dict[str, Any] = {"index": "bmwp", "level": 10, "valid_from": days_ago(400), "reason": "x"}
    Trigger.objects.create(group=cast.group, site=cast.site, set_by=cast.coordinator, **fields)
    person, submission = cast.person("volunteer"), submission_for(cast.site)
    with django_assert_max_num_queries(12), CaptureQueriesContext(connection) as asked:
        visit = submit_visit(person=person, submission=submission).visit
    assert Verdict.objects.of_group(cast.group).get(visit=visit).reasons == ["provisional"]
    # It is not below the trigger: nobody else at the site has to wait for it.
    assert not [each["sql"] for each in asked if "FOR NO KEY UPDATE" in each["sql"]]
