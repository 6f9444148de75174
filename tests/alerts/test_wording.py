"""The words of each mail: who reads what about which step."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from alerts.courses import MARKS, course_of
from alerts.links import make_token
from alerts.models import EventKind, Incident, IncidentState, Outcome
from alerts.services.events import add_event, save_change
from alerts.services.incidents import add_note, close_incident
from alerts.services.wording import HEADLINES, WITH_EVIDENCE
from portal.accounts.models import User
from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from surveys.services.visits import approve_visit
from tests.alerts.conftest import LOW, Watch, mails, the_incident, verdict_of
from tests.alerts.test_incidents import correct
from tests.factories import CLEAN_COUNTS, days_ago

pytestmark = pytest.mark.django_db


def only(kind: str) -> Message:
    """The one mail of this kind (the first reader's, where there are several)."""
    return mails(kind=kind)[0]


def three_parts(message: Message) -> tuple[str, str, str]:
    return message.subject, message.text, message.html


@pytest.mark.parametrize("kind", EventKind)
def test_it_has_a_mark_in_the_course_for_every_step(kind: EventKind) -> None:
    assert kind in MARKS


@pytest.mark.parametrize(
    "kind",
    sorted(set(EventKind) - {EventKind.OPENED, EventKind.NOTE, EventKind.ACKNOWLEDGED, EventKind.RETURNED}),
)
def test_it_has_a_first_line_for_every_step_that_is_told(kind: EventKind) -> None:
    assert str(HEADLINES[kind])


def test_it_says_in_every_part_what_the_score_is(watch: Watch) -> None:
    watch.submit_low()
    subject, text, html = three_parts(only("contact.told"))
    assert "BMWP 6" in subject
    assert "trigger of 30" in subject
    assert "Stepping stones, Alder Beck" in subject
    assert the_incident().reference in subject
    for part in (text, html):
        assert "Stepping stones" in part
        assert "30" in part
        assert "Heptageniidae" in part


def test_it_gives_the_contact_the_link_and_the_coordinator_the_review(watch: Watch) -> None:
    visit = watch.submit_low()
    contact, coordinator = only("contact.told"), only("coordinator.told")
    for part in (contact.text, contact.html):
        assert "/alert/" in part
        assert "/review/" not in part
        assert "/incidents/" not in part
    for part in (coordinator.text, coordinator.html):
        assert "/alert/" not in part
        assert f"/visits/{visit.pk}/review/" in part
        assert f"/incidents/{the_incident().pk}/" in part


def test_it_tells_the_coordinators_who_was_told(watch: Watch) -> None:
    watch.submit_low()
    for part in (only("coordinator.told").text, only("coordinator.told").html):
        assert "Told at the agency: Ines Halloran, Rivers Office" in part


def test_it_drops_the_review_link_once_the_visit_is_approved(watch: Watch) -> None:
    visit = watch.submit_low()
    approve_visit(person=watch.cast.person("coordinator"), visit=visit, accept_findings_reason="As recorded.")
    confirmed = only("coordinator.confirmed")
    assert "/review/" not in confirmed.text
    assert "Checked and approved by the group." in confirmed.html


@pytest.mark.parametrize(
    ("kind", "start"), [("contact.joined", "Further low visit:"), ("coordinator.joined", "Further low visit:")]
)
def test_it_begins_the_subject_with_what_is_new(watch: Watch, kind: str, start: str) -> None:
    watch.submit_low(visited_on=days_ago(3).isoformat())
    watch.submit_low()
    assert only(kind).subject.startswith(start)


def test_it_begins_the_first_subject_with_the_place(watch: Watch) -> None:
    watch.submit_low()
    assert only("contact.told").subject.startswith("Stepping stones")


def test_it_says_what_a_withdrawal_rests_on(watch: Watch) -> None:
    visit = watch.submit_low()
    correct(watch.cast, visit, CLEAN_COUNTS)
    subject, text, html = three_parts(only("contact.withdrawn"))
    assert subject.startswith("The alert is withdrawn: Stepping stones")
    for part in (text, html):
        assert "BMWP 48, not below the trigger of 30" in part
        assert "Nothing more is asked of you" in part
    assert only("contact.withdrawn").picture_maker == ""


def test_it_carries_a_picture_with_the_evidence_only(watch: Watch) -> None:
    visit = watch.submit_low()
    correct(watch.cast, visit, LOW | {"Elmidae": 1})
    correct(watch.cast, visit, CLEAN_COUNTS)
    for each in mails():
        step = each.kind.partition(".")[2]
        assert bool(each.picture_maker) == (step in WITH_EVIDENCE)
        assert ("cid:picture" in each.html) == (step in WITH_EVIDENCE)


def test_it_describes_the_picture_in_words(watch: Watch) -> None:
    watch.submit_low()
    assert 'alt="Chart of BMWP at Stepping stones over time; the latest visit, 6,' in only("contact.told").html


def test_it_names_the_duty_line_of_the_reader_or_of_the_first_contact(watch: Watch) -> None:
    watch.submit_low()
    assert "0800 555 0100" in only("contact.told").text
    assert "0800 555 0100" in only("coordinator.told").text


def test_it_gives_the_address_of_the_named_coordinator_where_nobody_gave_a_number(
    client: Client, watch: Watch
) -> None:
    """The agency must be able to reach somebody."""
    User.objects.filter(pk=watch.cast.coordinator.pk).update(phone="")
    visit = watch.submit_low()
    correct(watch.cast, visit, CLEAN_COUNTS)
    page = client.get(reverse("alert_page", args=[make_token(the_incident(), watch.first)])).content.decode()
    told, withdrawn = only("contact.told"), only("contact.withdrawn")
    for part in (told.text, told.html, withdrawn.text, withdrawn.html, page):
        assert "Cole Example" in part
        assert "cole@example.org" in part
        assert "Cora" not in part


def test_it_says_whose_incident_it_is_because_two_groups_may_use_one_number(watch: Watch) -> None:
    visit = watch.submit_low()
    correct(watch.cast, visit, CLEAN_COUNTS)
    for kind in ("contact.told", "coordinator.told", "contact.withdrawn"):
        for part in three_parts(only(kind)):
            assert the_incident().reference in part
            assert "Alder Beck Watch" in part


def test_it_answers_to_the_named_coordinator(watch: Watch) -> None:
    watch.submit_low()
    assert {each.reply_to for each in mails()} == {"cora@example.org"}


def test_it_says_why_a_visit_was_tested_all_the_same(watch: Watch) -> None:
    watch.submit_low(water_level="spate", pollution_signs="Foam.")
    for part in (only("contact.told").text, only("contact.told").html):
        assert "ested all the same" in part.lower()
        assert "washes animals away" in part


def test_it_says_what_came_of_it_when_closed(watch: Watch) -> None:
    watch.submit_low()
    close_incident(
        incident=the_incident(),
        person=watch.cast.person("coordinator"),
        outcome=Outcome.SOURCE_STOPPED,
        note="Pipe mended.",
    )
    subject, text, _html = three_parts(only("contact.closed"))
    assert subject.startswith("The incident is closed")
    assert "source found and stopped. Pipe mended." in text


def test_it_owes_no_step_twice_to_one_reader(watch: Watch) -> None:
    watch.submit_low()
    keys = [each.key for each in mails()]
    assert len(set(keys)) == len(keys)


def test_it_writes_mails_that_fit_a_narrow_screen(watch: Watch) -> None:
    """Nothing in the mail has a fixed width beyond the picture, which may shrink."""
    watch.submit_low()
    html = only("contact.told").html
    assert 'name="viewport"' in html
    assert "max-width:600px" in html
    assert "max-width:520px;height:auto" in html


def names(incident: Incident, *, for_member: bool) -> dict[str, str]:
    return {each.what: each.who for each in course_of(incident, for_member=for_member)}


def test_it_names_members_inside_the_group_only(watch: Watch) -> None:
    visit = watch.submit_low()
    approve_visit(person=watch.cast.person("coordinator"), visit=visit, accept_findings_reason="As recorded.")
    inside, outside = (names(the_incident(), for_member=each) for each in (True, False))
    assert inside["A score fell below the trigger"] == "Vera Example"
    assert outside["A score fell below the trigger"] == "the group"
    assert inside["Visit approved by the group"] == "Cora Example"
    assert outside["Visit approved by the group"] == "the group"


def test_it_names_a_contact_everywhere(watch: Watch) -> None:
    watch.submit_low()
    add_note(incident=the_incident(), contact=watch.first, note="On my way.")
    assert names(the_incident(), for_member=False)["Note"] == "by link sent to Ines Halloran"


def test_it_keeps_addresses_out_of_the_course_for_outsiders(watch: Watch) -> None:
    watch.submit_low()
    add_event(the_incident(), EventKind.UNDELIVERABLE, note="Bo <bo@rivers.example>: no such mailbox")
    texts = [[each.text for each in course_of(the_incident(), for_member=each_)] for each_ in (True, False)]
    assert any("bo@rivers.example" in text for text in texts[0])
    assert not any("bo@rivers.example" in text for text in texts[1])


def test_it_orders_the_course_by_time(watch: Watch) -> None:
    watch.submit_low(visited_on=days_ago(3).isoformat())
    watch.submit_low()
    times = [each.when for each in course_of(the_incident(), for_member=True)]
    assert times == sorted(times)
    assert len(times) == 4


def test_it_says_which_visit_a_step_is_about(watch: Watch) -> None:
    watch.submit_low()
    opened = course_of(the_incident(), for_member=True)[0]
    assert opened.text.startswith("Visit of ")
    assert (opened.kind, opened.icon_name) == ("danger", "below")


def entries(verb: str) -> list[dict[str, Any]]:
    found = AuditEntry.objects.across_groups("tests look at all").filter(verb=verb)
    return [each.changes for each in found]


def test_it_writes_what_changed_beside_a_change(watch: Watch) -> None:
    watch.submit_low()
    save_change(the_incident(), "incident.tried", agency_reference="R-1", link_version=1)
    assert entries("incident.tried") == [{"agency_reference": ["", "R-1"]}]


def test_it_writes_nothing_when_nothing_changes(watch: Watch) -> None:
    watch.submit_low()
    save_change(the_incident(), "incident.tried", state=IncidentState.OPEN)
    assert entries("incident.tried") == []


def test_it_tells_the_contact_by_link_in_the_audit_trail(watch: Watch) -> None:
    watch.submit_low()
    add_note(incident=the_incident(), contact=watch.first, note="", reference="R-3")
    entry = AuditEntry.objects.filter(group=watch.cast.group).get(verb="incident.reference")
    assert (entry.actor, entry.actor_name) == (None, "by link sent to Ines Halloran")


def test_it_needs_something_to_note(watch: Watch) -> None:
    watch.submit_low()
    with pytest.raises(ValidationError) as refusal:
        add_note(incident=the_incident(), contact=watch.first, note="")
    assert "note" in refusal.value.message_dict


def test_it_keeps_the_reasons_with_the_verdict_for_ever(watch: Watch) -> None:
    visit = watch.submit_low(water_level="spate")
    watch.trigger.level = 1
    watch.trigger.save()
    assert verdict_of(visit).reasons == ["spate"]
