"""What is lawfully corrected, approved, scored anew or lifted breaks no chain, and hides no tampering."""

from __future__ import annotations

import pytest

from alerts.models import EventKind
from surveys.models import Visit, VisitScore
from surveys.services.visits import approve_visit, correct_visit
from surveys.submission.parsing import parse_submission
from surveys.submission.writing import submission_data
from tests.alerts.chain.tampering import checked, run_sql
from tests.alerts.chain.test_chain import low_visit, steps
from tests.alerts.conftest import Watch, the_incident
from tests.factories import days_ago

pytestmark = pytest.mark.django_db


def correct(watch: Watch, visit: Visit, counts: dict[str, str]) -> None:
    data = submission_data(visit) | {"counts": [{"taxon": name, "count": n} for name, n in counts.items()]}
    correct_visit(
        person=watch.cast.person("coordinator"),
        visit=visit,
        submission=parse_submission(data),
        reason="Miscounted.",
    )


def test_a_lawful_correction_is_no_break(watch: Watch) -> None:
    watch.submit_low()
    correct(watch, low_visit(the_incident()), {"Baetidae": "4", "Chironomidae": "60"})
    assert [each.kind for each in steps(the_incident())][-1] == EventKind.UPDATED
    assert not checked().broken


def test_corrections_of_a_withdrawn_incidents_visit_are_worked_out_backwards(watch: Watch) -> None:
    visit = watch.submit_low()
    correct(watch, visit, {"Heptageniidae": "9", "Leuctridae": "9", "Sericostomatidae": "9", "Baetidae": "5"})
    assert the_incident().state == "withdrawn"
    correct(watch, visit, {"Heptageniidae": "8", "Leuctridae": "9", "Sericostomatidae": "9"})
    assert not checked().broken
    run_sql("UPDATE surveys_taxoncount SET count = 7 WHERE taxon = 'Leuctridae' AND visit_id = %s", visit.pk)
    assert "was changed without a correction" in checked().broken


def test_a_change_hidden_behind_a_lawful_correction_is_found(watch: Watch) -> None:
    visit = watch.submit_low()
    correct(watch, visit, {"Heptageniidae": "9", "Leuctridae": "9", "Sericostomatidae": "9"})
    correct(watch, visit, {"Heptageniidae": "8", "Leuctridae": "9", "Sericostomatidae": "9"})
    run_sql("UPDATE surveys_taxoncount SET count = 7 WHERE taxon = 'Heptageniidae' AND visit_id = %s", visit.pk)
    assert "was changed without a correction" in checked().broken


def test_approval_and_a_new_score_of_a_method_are_no_break(watch: Watch) -> None:
    visit = watch.submit_low()
    approve_visit(person=watch.cast.person("coordinator"), visit=visit, accept_findings_reason="Looked at.")
    rows = VisitScore.objects.of_group(visit.group).filter(visit=visit, index="bmwp")
    rows.update(is_current=False)
    VisitScore.objects.create(visit=visit, index="bmwp", version="2031", value=7.0)
    assert not checked().broken


def test_a_visit_that_is_lifted_from_its_incident_is_no_break(watch: Watch) -> None:
    watch.submit_low(visited_on=days_ago(2).isoformat())
    second = watch.submit_low()
    clean = {"Heptageniidae": "9", "Leuctridae": "9", "Sericostomatidae": "9", "Baetidae": "5"}
    correct(watch, second, clean)
    assert steps(the_incident())[-1].kind == EventKind.LIFTED
    assert not checked().broken
