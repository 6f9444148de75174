"""The agency's course: looked into, passed on, ended in the group's own words."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client
from django.urls import reverse

from alerts.contacts.links import make_forward_token, make_token
from alerts.models import Forward, GroupOutcome
from alerts.services.forwards import MOST_FORWARDS, forward_alert, revoke_forward
from alerts.services.incidents import close_incident, renew_links
from alerts.services.outcomes import add_outcome, offer_outcome
from portal.reports.figures.incidents import _describe
from tests.alerts.conftest import Watch, course, mails, the_incident
from tests.factories import account_at

pytestmark = pytest.mark.django_db
UNA = "una@rivers.example"


@pytest.fixture
def token(watch: Watch) -> str:
    watch.submit_low()
    return make_token(the_incident(), watch.first)


def pass_on(watch: Watch, address: str = UNA, name: str = "Una Marsh") -> Forward:
    return forward_alert(incident=the_incident(), contact=watch.first, to_name=name, to_email=address)


def test_a_contact_says_by_link_that_they_look_into_it(client: Client, token: str) -> None:
    given = {"investigate-note": "Officer on the way."}
    for _twice in range(2):
        client.post(reverse("alert_investigate", args=[token]), given)
    incident = the_incident()
    assert incident.state == "investigated"
    assert incident.acknowledged_at is not None
    assert incident.events.get(kind="investigated").note == "Officer on the way."
    assert "Officer on the way." in client.get(reverse("alert_page", args=[token])).content.decode()


def test_a_contact_says_so_by_account(client: Client, watch: Watch, token: str) -> None:
    client.force_login(account_at(watch.first.email))
    url = reverse("incident_investigate", args=[the_incident().pk])
    client.post(url, {"investigate-note": "Seen."})
    assert the_incident().state == "investigated"
    person = watch.cast.person("coordinator")
    close_incident(incident=the_incident(), person=person, outcome="natural", note="")
    answer = client.post(url, {"investigate-note": "Again."})
    assert answer.status_code == 422
    assert "not over" in answer.content.decode()


def test_both_forms_offer_the_groups_own_outcomes_and_reports_count_the_standard_one(
    client: Client, watch: Watch, token: str
) -> None:
    person = watch.cast.person("coordinator")
    own = add_outcome(
        person=person, group=watch.cast.group, label=" Silage  clamp ", counts_as="source_stopped"
    )
    other = GroupOutcome.objects.create(group=watch.cast.neighbour, label="Not ours", counts_as="natural")
    page = client.get(reverse("alert_page", args=[token])).content.decode()
    assert "Silage clamp" in page
    assert "Not ours" not in page
    refused = client.post(reverse("alert_outcome", args=[token]), {"outcome": f"own:{other.pk}"})
    assert refused.status_code == 422
    client.post(reverse("alert_outcome", args=[token]), {"outcome": f"own:{own.pk}", "note": "Sealed."})
    incident = the_incident()
    assert (incident.outcome, incident.own_outcome) == ("source_stopped", own)
    assert incident.events.get(kind="closed").note == "Silage clamp. Sealed."
    assert _describe(incident)["outcome"] == "source found and stopped"
    assert "Silage clamp" in client.get(reverse("alert_page", args=[token])).content.decode()


def test_a_coordinator_closes_in_own_words_and_not_in_anothers_or_retired_ones(
    watch: Watch, token: str
) -> None:
    person = watch.cast.person("coordinator")
    own = add_outcome(person=person, group=watch.cast.group, label="Silage", counts_as="natural")
    foreign = GroupOutcome.objects.create(group=watch.cast.neighbour, label="X", counts_as="natural")
    retired = offer_outcome(person=person, outcome=own, is_active=False)
    for wrong in (foreign, retired):
        with pytest.raises(ValidationError):
            close_incident(
                incident=the_incident(), person=person, outcome="natural", note="", own_outcome=wrong
            )
    again = offer_outcome(person=person, outcome=own, is_active=True)
    close_incident(incident=the_incident(), person=person, outcome="", note="", own_outcome=again)
    assert the_incident().outcome_words == "Silage"


def test_the_list_of_outcomes_is_kept_on_its_page(client: Client, watch: Watch) -> None:
    client.force_login(watch.cast.coordinator)
    url = reverse("outcome_list", args=[watch.cast.group.slug])
    client.post(url, {"label": "Silage", "counts_as": "natural"})
    answer = client.post(url, {"label": "silage", "counts_as": "natural"})
    assert answer.status_code == 422
    assert "in the list already" in answer.content.decode()
    own = GroupOutcome.objects.of_group(watch.cast.group).get()
    change = reverse("outcome_change", args=[watch.cast.group.slug, own.pk])
    client.post(change)
    assert "retired" in client.get(url).content.decode()
    client.post(change, {"offer": "1"})
    own.refresh_from_db()
    assert own.is_active


def test_a_colleague_acts_under_their_own_name_and_closes_nothing(
    client: Client, watch: Watch, token: str
) -> None:
    given = {"forward-to_name": "Una Marsh", "forward-to_email": UNA.upper()}
    client.post(reverse("alert_forward", args=[token]), given)
    forward = Forward.objects.of_group(watch.cast.group).get()
    mail = mails(to_address=UNA)[0]
    assert mail.kind == "contact.forwarded"
    assert "/alert/" in mail.text
    assert {each.to_address for each in mails(kind="coordinator.forwarded")} == {
        "cora@example.org",
        "cole@example.org",
    }
    theirs = make_forward_token(forward)
    client.head(reverse("alert_page", args=[theirs]))
    forward.refresh_from_db()
    assert forward.first_opened_at is None
    page = client.get(reverse("alert_page", args=[theirs])).content.decode()
    assert Forward.objects.of_group(watch.cast.group).get().first_opened_at is not None
    assert "Closing the incident stays with Ines Halloran" in page
    client.post(reverse("alert_acknowledge", args=[theirs]))
    client.post(reverse("alert_outcome", args=[theirs]), {"note": "Seen.", "outcome": "natural"})
    incident = the_incident()
    assert incident.state == "acknowledged"
    assert incident.acknowledged_by == "Una Marsh, by link passed on by Ines Halloran"
    assert incident.events.get(kind="note").actor_name == incident.acknowledged_by
    assert course(incident) == ["opened", "told", "forwarded", "acknowledged", "note"]
    onward = client.post(
        reverse("alert_forward", args=[theirs]), {"forward-to_name": "Bo", "forward-to_email": "bo@x.example"}
    )
    assert onward.status_code == 422


def test_everybody_sees_that_it_was_passed_on(client: Client, watch: Watch, token: str) -> None:
    pass_on(watch)
    assert "Una Marsh" in client.get(reverse("alert_page", args=[token])).content.decode()
    client.force_login(watch.cast.volunteer)
    page = client.get(reverse("incident_detail", args=[the_incident().pk])).content.decode()
    assert "To Una Marsh." in page
    assert "not opened yet" in page
    assert UNA not in page


def test_a_coordinator_takes_one_link_back_and_the_others_live(
    client: Client, watch: Watch, token: str
) -> None:
    una, eli = pass_on(watch), pass_on(watch, "eli@rivers.example", "Eli Reed")
    client.force_login(watch.cast.coordinator)
    client.post(reverse("forward_revoke", args=[the_incident().pk, una.pk]))
    client.logout()
    answers = {
        name: client.get(reverse("alert_page", args=[key])).status_code
        for name, key in {"una": make_forward_token(una), "eli": make_forward_token(eli), "ines": token}.items()
    }
    assert answers == {"una": 410, "eli": 200, "ines": 200}
    with pytest.raises(ValidationError, match="taken the link"):
        pass_on(watch)
    with pytest.raises(PermissionDenied):
        revoke_forward(person=watch.cast.person("volunteer"), forward=eli)


def test_renewing_the_links_ends_a_colleagues_too_and_it_can_be_passed_on_anew(
    client: Client, watch: Watch, token: str
) -> None:
    old = make_forward_token(pass_on(watch))
    with pytest.raises(ValidationError, match="already"):
        pass_on(watch)
    renew_links(person=watch.cast.person("coordinator"), incident=the_incident())
    assert client.get(reverse("alert_page", args=[old])).status_code == 410
    again = pass_on(watch)
    assert client.get(reverse("alert_page", args=[make_forward_token(again)])).status_code == 200


def test_it_is_of_no_use_for_sending_mail_to_strangers(watch: Watch, token: str) -> None:
    for wrong in ("", "win at https://x.example", "a@b.example", "<b>"):
        with pytest.raises(ValidationError):
            pass_on(watch, name=wrong)
    for number in range(MOST_FORWARDS):
        pass_on(watch, f"colleague{number}@rivers.example")
    with pytest.raises(ValidationError, match="at most"):
        pass_on(watch)
    with pytest.raises(ValidationError, match="already"):
        pass_on(watch, watch.first.email)


def test_a_contact_passes_it_on_by_account_and_a_coordinator_does_not(
    client: Client, watch: Watch, token: str
) -> None:
    given = {"forward-to_name": "Una Marsh", "forward-to_email": UNA}
    url = reverse("incident_forward", args=[the_incident().pk])
    client.force_login(watch.cast.coordinator)
    assert client.post(url, given).status_code == 403
    client.force_login(account_at(watch.first.email, name="Ines Halloran"))
    assert client.post(url, given | {"forward-to_email": "no address"}).status_code == 422
    client.post(url, given)
    assert Forward.objects.of_group(watch.cast.group).get().contact == watch.first


def test_what_is_held_or_withdrawn_is_not_passed_on(watch: Watch) -> None:
    watch.cast.group.hold_hours = 6
    watch.cast.group.save()
    watch.site.group.refresh_from_db()
    watch.submit_low()
    with pytest.raises(ValidationError, match="was sent"):
        pass_on(watch)
