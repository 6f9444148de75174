"""The chain of an incident's steps: made by the services, and all tampering with it found and named."""

from __future__ import annotations

import json
from collections.abc import Callable
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from alerts.chain.reading import name_rule, steps_json
from alerts.chain.sealing import NO_SEAL, STEP_VERB, canonical, seal_of, sealed_form
from alerts.models import EventKind, Incident, IncidentEvent
from alerts.services.events import add_event
from alerts.services.incidents import acknowledge_incident, add_note, close_incident
from portal.audit.parts import take_out
from portal.audit.services import history_of
from surveys.models import Visit
from tests.alerts.chain.tampering import checked, run_sql
from tests.alerts.conftest import Watch, make_watch, the_incident
from tests.conftest import make_cast
from tests.factories import days_ago
from tests.lasting import built_once

pytestmark = pytest.mark.django_db


def lived() -> Watch:
    """An incident opened by a low visit, answered, noted twice and closed."""
    watch = make_watch(make_cast())
    watch.submit_low()
    acknowledge_incident(incident=the_incident(), contact=watch.first)
    for note in ("Foam seen.", "Foam gone."):
        add_note(person=watch.cast.person("coordinator"), incident=the_incident(), note=note)
    close_incident(
        person=watch.cast.person("coordinator"), incident=the_incident(), outcome="natural", note="Drought."
    )
    return watch


once = built_once(lived)


@pytest.fixture
def incident(once: Watch, db: None) -> Incident:
    return the_incident()


def steps(incident: Incident) -> list[IncidentEvent]:
    return list(incident.events.order_by("sequence"))


def the_note(incident: Incident) -> IncidentEvent:
    return incident.events.get(note="Foam seen.")


def low_visit(incident: Incident) -> Visit:
    return incident.visits.get()


def test_it_numbers_the_steps_and_seals_each_onto_the_one_before(incident: Incident) -> None:
    rows = steps(incident)
    assert [each.sequence for each in rows] == list(range(1, len(rows) + 1))
    seal = NO_SEAL
    for each in rows:
        seal = seal_of(seal, sealed_form(each))
        assert each.seal == seal


def test_it_says_in_plain_words_that_nothing_was_altered(incident: Incident) -> None:
    last = steps(incident)[-1]
    assert checked().words == f"Steps 1–{last.sequence} are unbroken, last seal {last.seal[:12]}…"


def test_it_keeps_each_seal_in_the_audit_trail_too(incident: Incident) -> None:
    noted = [each.changes for each in history_of(incident, incident.group).filter(verb=STEP_VERB)]
    assert noted == [{"sequence": each.sequence, "seal": each.seal} for each in steps(incident)]


def test_it_says_what_stood_on_record_of_the_visit(incident: Incident) -> None:
    (facts,) = steps(incident)[-1].facts["visits"]
    visit = low_visit(incident)
    assert facts["visit"] == str(visit.pk)
    assert facts["is_low"] is True
    assert facts["verdict"] == {"outcome": "below", "value": "6.0", "index": "bmwp", "level": "30.0"}
    bmwp = next(each for each in facts["scores"] if each[0] == "bmwp")
    assert bmwp[2] == "6.0"
    assert all(isinstance(each, str | None) for row in facts["scores"] for each in row)
    assert facts["history"]["entries"] == [str(each.pk) for each in history_of(visit, incident.group)]


def move(incident: Incident, step: IncidentEvent, place: int | None) -> None:
    run_sql("UPDATE alerts_incidentevent SET sequence = %s WHERE id = %s", place, step.pk)


def swap(incident: Incident) -> None:
    first, second = incident.events.filter(note__startswith="Foam").order_by("sequence")
    places = (first.sequence, second.sequence)
    move(incident, first, None)
    move(incident, second, places[0])
    move(incident, first, places[1])


def close_the_gap(incident: Incident) -> None:
    """Delete a step and number the later ones anew."""
    gone = the_note(incident)
    delete(incident, gone)
    for each in incident.events.filter(sequence__gt=gone.sequence).order_by("sequence"):
        assert each.sequence is not None
        move(incident, each, each.sequence - 1)


def delete(incident: Incident, step: IncidentEvent) -> None:
    run_sql("DELETE FROM alerts_incidentevent WHERE id = %s", step.pk)


def seal_anew(incident: Incident) -> None:
    """Change a note and work out every later seal, as somebody who has read the formula would."""
    run_sql("UPDATE alerts_incidentevent SET note = 'Nothing seen.' WHERE id = %s", the_note(incident).pk)
    seal = NO_SEAL
    for each in steps(incident):
        seal = seal_of(seal, sealed_form(each))
        run_sql("UPDATE alerts_incidentevent SET seal = %s WHERE id = %s", seal, each.pk)


def slip_in(incident: Incident) -> None:
    # As a row written past the service would be.
    IncidentEvent.objects.create(incident=incident, kind=EventKind.NOTE, note="Always knew.")


def set_event(incident: Incident, column: str, value: Any) -> None:
    run_sql(f"UPDATE alerts_incidentevent SET {column} = %s WHERE note = 'Foam seen.'", value)


def set_visit(incident: Incident, statement: str) -> None:
    run_sql(statement, low_visit(incident).pk)


Tamper = Callable[[Incident], None]
CHANGED = "Step {note} was changed, or stands in another place."
COUNTED = "what was counted or measured on {day} was changed without a correction"
SCORE = "a score of the visit of {day} was changed or deleted"
TAMPERING: dict[str, tuple[Tamper, str]] = {
    "a note": (lambda own: set_event(own, "note", "Nothing seen."), CHANGED),
    "a name": (lambda own: set_event(own, "actor_name", "Somebody Else"), CHANGED),
    "a kind": (lambda own: set_event(own, "kind", "confirmed"), CHANGED),
    "a time": (lambda own: set_event(own, "at", "2020-01-01T00:00:00Z"), CHANGED),
    "the facts": (lambda own: set_event(own, "facts", json.dumps({"visits": []})), CHANGED),
    "a seal": (lambda own: set_event(own, "seal", "0" * 64), CHANGED),
    "order": (swap, CHANGED),
    "deleted in the middle": (lambda own: delete(own, the_note(own)), "Step {note} is missing."),
    "deleted and renumbered": (close_the_gap, CHANGED),
    "deleted at the end": (lambda own: delete(own, steps(own)[-1]), "Step {last} is missing."),
    "sealed anew": (seal_anew, "Step {note} is not the one whose seal the audit trail keeps."),
    "slipped in": (slip_in, "carries no seal: it was slipped in."),
    "a count": (
        lambda own: set_visit(
            own, "UPDATE surveys_taxoncount SET count = 4 WHERE taxon = 'Baetidae' AND visit_id = %s"
        ),
        COUNTED,
    ),
    "a taxon taken out": (
        lambda own: set_visit(own, "DELETE FROM surveys_taxoncount WHERE taxon = 'Baetidae' AND visit_id = %s"),
        COUNTED,
    ),
    "effort": (
        lambda own: set_visit(own, "UPDATE surveys_spoteffort SET kicks = 1 WHERE visit_id = %s"),
        COUNTED,
    ),
    "a remark": (
        lambda own: set_visit(own, "UPDATE surveys_visit SET notes = 'All well.' WHERE id = %s"),
        COUNTED,
    ),
    "a score": (
        lambda own: set_visit(
            own, "UPDATE surveys_visitscore SET value = 40 WHERE index = 'bmwp' AND visit_id = %s"
        ),
        SCORE,
    ),
    "a score deleted": (
        lambda own: set_visit(own, "DELETE FROM surveys_visitscore WHERE index = 'bmwp' AND visit_id = %s"),
        SCORE,
    ),
    "the verdict": (
        lambda own: set_visit(own, "UPDATE alerts_verdict SET outcome = 'not_below' WHERE visit_id = %s"),
        "the verdict on the visit of {day} was changed",
    ),
    "the visit taken out": (
        lambda own: set_visit(own, "DELETE FROM alerts_incident_visits WHERE visit_id = %s"),
        "a visit was added to the incident or taken from it",
    ),
    "the state": (
        lambda own: run_sql("UPDATE alerts_incident SET state = 'withdrawn'"),
        "“state” is not what the audit trail says.",
    ),
    "the outcome": (
        lambda own: run_sql("UPDATE alerts_incident SET outcome = 'method_error'"),
        "“outcome” is not what the audit trail says.",
    ),
    "what was found": (
        lambda own: run_sql("UPDATE alerts_incident SET outcome_note = 'Nothing.'"),
        "“what was found” is not what the audit trail says.",
    ),
    "the agency's reference": (
        lambda own: run_sql("UPDATE alerts_incident SET agency_reference = 'X-1'"),
        "is not what the audit trail says.",
    ),
}


@pytest.mark.parametrize("kind", TAMPERING)
def test_it_finds_and_names_what_was_tampered_with(incident: Incident, kind: str) -> None:
    assert not checked().broken, "the chain was whole before"
    tamper, words = TAMPERING[kind]
    told = {
        "note": the_note(incident).sequence,
        "last": steps(incident)[-1].sequence,
        "day": f"{days_ago(1):%-d %B %Y}",
    }
    tamper(incident)
    assert words.format(**told) in checked().broken


def test_it_finds_an_audit_entry_forged_with_the_databases_guard_taken_off(incident: Incident) -> None:
    number = low_visit(incident).pk
    run_sql("SET session_replication_role = replica", met=False)
    run_sql("UPDATE audit_auditentry SET actor_name = 'Nobody' WHERE object_id = %s", number)
    run_sql("SET session_replication_role = DEFAULT", met=False)
    assert "the change history of the visit" in checked().broken


def test_a_name_taken_off_a_visit_is_no_break(incident: Incident) -> None:
    run_sql("UPDATE surveys_visit SET recorder_id = NULL WHERE id = %s", low_visit(incident).pk)
    assert not checked().broken


def test_a_seal_hides_the_name_yet_holds_it(incident: Incident) -> None:
    step = the_note(incident)
    form = canonical(sealed_form(step))
    assert step.actor_name not in form
    assert "Foam" not in form


def test_the_command_names_the_broken_link_and_fails(incident: Incident) -> None:
    out = StringIO()
    call_command("verify_incidents", stdout=out)
    assert "1 incidents, none broken." in out.getvalue()
    note = the_note(incident).sequence
    set_event(incident, "note", "Nothing seen.")
    with pytest.raises(CommandError, match="1 of 1 incidents are broken") as raised:
        call_command("verify_incidents", "--group", incident.group.slug, stdout=out)
    assert raised.value.returncode == 1
    assert f"{incident.reference}: Step {note} was changed" in out.getvalue()


def test_the_command_refuses_a_group_that_is_not_there(db: None) -> None:
    with pytest.raises(CommandError, match="There is no group nowhere"):
        call_command("verify_incidents", "--group", "nowhere")


def test_a_step_of_the_portal_itself_is_sealed_as_well(incident: Incident) -> None:
    step = add_event(incident, EventKind.NOTE, note="By the clock.")
    assert step.actor_id is None
    assert checked().steps == step.sequence


def test_a_name_taken_out_of_steps_and_trail_breaks_nothing(incident: Incident) -> None:
    step = next(each for each in steps(incident) if each.actor_name)
    step.erased = {part: sealed_form(step)[part] for part in ("actor", "note")}
    step.actor_name, step.note = "Volunteer 7f3a", ""
    step.save(update_fields=["actor_name", "note", "erased"])
    run_sql("SET LOCAL audit.erasing = 'on'", met=False)
    for entry in history_of(low_visit(incident), incident.group):
        take_out(entry, "actor_name", "Volunteer 7f3a")
        entry.save(update_fields=["actor_name", "erased"])
    assert checked().broken == ""
    # What was taken out can be read by nobody, so that nothing is offered to hold against its digest.
    given = json.loads(steps_json(incident, name_rule(incident, None), steps(incident)))
    assert given["steps"][(step.sequence or 0) - 1]["note"] is None
