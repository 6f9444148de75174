"""The words of each mail about one low visit."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import ValidationError

from alerts.chain.course import course_of
from alerts.models import EventKind, Incident, IncidentState, Outcome
from alerts.services.events import add_event, save_change
from alerts.services.incidents import add_note, close_incident
from alerts.services.wording import WITH_EVIDENCE
from portal.audit.models import AuditEntry
from surveys.models import Visit
from surveys.services.visits import approve_visit
from tests.alerts.conftest import LOW, Watch, mails, the_incident
from tests.alerts.test_incidents import correct
from tests.alerts.test_wording import only, three_parts
from tests.factories import CLEAN_COUNTS

pytestmark = pytest.mark.django_db


def names(incident: Incident, *, for_member: bool) -> dict[str, str]:
    return {each.what: each.who for each in course_of(incident, for_member=for_member)}


def entries(verb: str) -> list[dict[str, Any]]:
    found = AuditEntry.objects.across_groups("tests look at all").filter(verb=verb)
    return [each.changes for each in found]


def test_it_says_in_every_part_what_the_score_is(visit: Visit) -> None:
    subject, text, html = three_parts(only("contact.told"))
    assert "BMWP 6" in subject
    assert "trigger of 30" in subject
    assert "Stepping stones, Alder Beck" in subject
    assert the_incident().reference in subject
    for part in (text, html):
        assert "Stepping stones" in part
        assert "30" in part
        assert "Heptageniidae" in part


def test_it_gives_the_contact_the_link_and_the_coordinator_the_review(visit: Visit) -> None:
    contact, coordinator = only("contact.told"), only("coordinator.told")
    for part in (contact.text, contact.html):
        assert "/alert/" in part
        assert "/review/" not in part
        assert "/incidents/" not in part
    for part in (coordinator.text, coordinator.html):
        assert "/alert/" not in part
        assert f"/visits/{visit.pk}/review/" in part
        assert f"/incidents/{the_incident().pk}/" in part


def test_it_tells_the_coordinators_who_was_told(visit: Visit) -> None:
    for part in (only("coordinator.told").text, only("coordinator.told").html):
        assert "Told at the agency: Ines Halloran, Rivers Office" in part


def test_it_drops_the_review_link_once_the_visit_is_approved(watch: Watch, visit: Visit) -> None:
    approve_visit(person=watch.cast.person("coordinator"), visit=visit, accept_findings_reason="As recorded.")
    confirmed = only("coordinator.confirmed")
    assert "/review/" not in confirmed.text
    assert "Checked and approved by the group." in confirmed.html


def test_it_begins_the_first_subject_with_the_place(visit: Visit) -> None:
    assert only("contact.told").subject.startswith("Stepping stones")


def test_it_says_what_a_withdrawal_rests_on(watch: Watch, visit: Visit) -> None:
    correct(watch.cast, visit, CLEAN_COUNTS)
    subject, text, html = three_parts(only("contact.withdrawn"))
    assert subject.startswith("The alert is withdrawn: Stepping stones")
    for part in (text, html):
        assert "BMWP 48, not below the trigger of 30" in part
        assert "Nothing more is asked of you" in part
    assert only("contact.withdrawn").picture_maker == ""


def test_it_carries_a_picture_with_the_evidence_only(watch: Watch, visit: Visit) -> None:
    correct(watch.cast, visit, LOW | {"Elmidae": 1})
    correct(watch.cast, visit, CLEAN_COUNTS)
    for each in mails():
        step = each.kind.partition(".")[2]
        assert bool(each.picture_maker) == (step in WITH_EVIDENCE)
        assert ("cid:picture" in each.html) == (step in WITH_EVIDENCE)


def test_it_describes_the_picture_in_words(visit: Visit) -> None:
    assert 'alt="Chart of BMWP at Stepping stones over time; the latest visit, 6,' in only("contact.told").html


def test_it_names_the_duty_line_of_the_reader_or_of_the_first_contact(visit: Visit) -> None:
    assert "0800 555 0100" in only("contact.told").text
    assert "0800 555 0100" in only("coordinator.told").text


def test_it_says_whose_incident_it_is_because_two_groups_may_use_one_number(watch: Watch, visit: Visit) -> None:
    correct(watch.cast, visit, CLEAN_COUNTS)
    for kind in ("contact.told", "coordinator.told", "contact.withdrawn"):
        for part in three_parts(only(kind)):
            assert the_incident().reference in part
            assert "Alder Beck Watch" in part


def test_nobody_is_told_to_ring_themselves(visit: Visit) -> None:
    assert "Cora Example, coordinator" in only("contact.told").text
    own = next(each for each in mails() if each.to_address == "cora@example.org")
    assert "Cora Example, coordinator" not in own.text
    assert "Cora Example, coordinator" not in own.html


def test_it_answers_to_the_named_coordinator(visit: Visit) -> None:
    assert {each.reply_to for each in mails()} == {"cora@example.org"}


def test_it_says_what_came_of_it_when_closed(watch: Watch) -> None:
    close_incident(
        incident=the_incident(),
        person=watch.cast.person("coordinator"),
        outcome=Outcome.SOURCE_STOPPED,
        note="Pipe mended.",
    )
    subject, text, _html = three_parts(only("contact.closed"))
    assert subject.startswith("The incident is closed")
    assert "source found and stopped. Pipe mended." in text


def test_it_owes_no_step_twice_to_one_reader(visit: Visit) -> None:
    keys = [each.key for each in mails()]
    assert len(set(keys)) == len(keys)


def test_it_writes_mails_that_fit_a_narrow_screen(visit: Visit) -> None:
    """Nothing in the mail has a fixed width beyond the picture, which may shrink."""
    html = only("contact.told").html
    assert 'name="viewport"' in html
    assert "max-width:600px" in html
    assert "max-width:520px;height:auto" in html


def test_it_names_members_inside_the_group_only(watch: Watch, visit: Visit) -> None:
    approve_visit(person=watch.cast.person("coordinator"), visit=visit, accept_findings_reason="As recorded.")
    inside, outside = (names(the_incident(), for_member=each) for each in (True, False))
    assert inside["A score fell below the trigger"] == "Vera Example"
    assert outside["A score fell below the trigger"] == "the group"
    assert inside["Visit approved by the group"] == "Cora Example"
    assert outside["Visit approved by the group"] == "the group"


def test_it_names_a_contact_everywhere(watch: Watch) -> None:
    add_note(incident=the_incident(), contact=watch.first, note="On my way.")
    assert names(the_incident(), for_member=False)["Note"] == "by link sent to Ines Halloran"


def test_it_keeps_addresses_out_of_the_course_for_outsiders(visit: Visit) -> None:
    add_event(the_incident(), EventKind.UNDELIVERABLE, note="Bo <bo@rivers.example>: no such mailbox")
    texts = [[each.text for each in course_of(the_incident(), for_member=each_)] for each_ in (True, False)]
    assert any("bo@rivers.example" in text for text in texts[0])
    assert not any("bo@rivers.example" in text for text in texts[1])


def test_it_says_which_visit_a_step_is_about(visit: Visit) -> None:
    opened = course_of(the_incident(), for_member=True)[0]
    assert opened.text.startswith("Visit of ")
    assert (opened.kind, opened.icon_name) == ("danger", "below")


def test_it_writes_what_changed_beside_a_change(visit: Visit) -> None:
    save_change(the_incident(), "incident.tried", agency_reference="R-1", link_version=1)
    assert entries("incident.tried") == [{"agency_reference": ["", "R-1"]}]


def test_it_writes_nothing_when_nothing_changes(visit: Visit) -> None:
    save_change(the_incident(), "incident.tried", state=IncidentState.OPEN)
    assert entries("incident.tried") == []


def test_it_tells_the_contact_by_link_in_the_audit_trail(watch: Watch) -> None:
    add_note(incident=the_incident(), contact=watch.first, note="", reference="R-3")
    entry = AuditEntry.objects.filter(group=watch.cast.group).get(verb="incident.reference")
    assert (entry.actor, entry.actor_name) == (None, "by link sent to Ines Halloran")


def test_it_needs_something_to_note(watch: Watch) -> None:
    with pytest.raises(ValidationError) as refusal:
        add_note(incident=the_incident(), contact=watch.first, note="")
    assert "note" in refusal.value.message_dict
