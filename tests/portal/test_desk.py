"""The coordinator's desk: how often it asks the database, and that each thing on it can be done there."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from alerts.models import EventKind, Incident, IncidentState
from portal.outbox.models import Attempt, Message
from portal.outbox.services import owe_message
from surveys.models import Finding, Site, Visit
from surveys.people.models import Enquiry, Training
from surveys.people.services.trainings import Trained, add_usual_kinds, record_training
from surveys.services.drafts import start_visit
from surveys.services.questions import ask_recorder
from tests.alerts.conftest import Watch, the_incident, watch  # noqa: F401  a fixture
from tests.chance import ALL
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago, submit
from tests.owner import as_owner
from tests.rota.making import plan, put_on

DESK = "/groups/alder-beck/"
# Three of them are the session, the account and its memberships.
CEILING = 15
# Writing ten thousand takes half a minute; tests/access/test_ceilings.py reads the page with as many.
MANY = 10_000 if ALL else 1_000


def page_of(client: Client, cast: Cast, who: str = "coordinator") -> str:
    client.force_login(getattr(cast, who))
    return client.get(DESK).content.decode()


def fill(cast: Cast, number: int) -> None:
    """So many sites whose permission ends, each with a waiting visit and an open finding, made in bulk."""
    model = SiteFactory(group=cast.group)
    facts = {"group": cast.group, "river": "Alder Beck", "recording_list": model.recording_list}
    where = {"latitude": 54.5, "longitude": -2.5, "permission_until": days_ago(3)}
    sites = [
        Site(code=f"{uuid4().hex[:12]}", name=f"Ford {place}", **facts, **where) for place in range(number)
    ]
    Site.objects.bulk_create(sites)
    told = {"group": cast.group, "recording_list": model.recording_list, "entered_by": cast.volunteer}
    moment = {"visited_on": days_ago(90), "submitted_at": timezone.now(), "recorder": cast.volunteer}
    visits = [Visit(id=uuid4(), site=site, **told, **moment) for site in sites]
    Visit.objects.bulk_create(visits)
    Finding.objects.bulk_create([Finding(visit=each, rule="r", field="ph", message="m") for each in visits])


def touch_everything(cast: Cast) -> None:
    """One row of each other kind, so that no query is spared for want of rows."""
    coordinator, volunteer = cast.person("coordinator"), cast.person("volunteer")
    visit = submit(volunteer, cast.site)
    ask_recorder(person=coordinator, visit=visit, text="Which pool?")
    start_visit(person=coordinator, site=cast.site)
    visit.corrected_by.add(cast.second_coordinator)
    put_on(plan(cast.site, timezone.localdate() + timedelta(days=3)), cast.coordinator)


def keep_history(*, is_kept: bool) -> None:
    """Whether the database notes each change in its own history: for thousands of rows it takes most time."""
    with as_owner(), connection.cursor() as cursor:
        cursor.execute(f"SET LOCAL session_replication_role = {'origin' if is_kept else 'replica'}")


@pytest.mark.django_db
def test_it_asks_as_often_for_very_many_rows_as_for_ten(watch: Watch, client: Client) -> None:  # noqa: F811
    cast = watch.cast
    watch.submit_low()
    touch_everything(cast)
    asked, sizes = [], []
    for more in (10, MANY - 10):
        keep_history(is_kept=False)
        fill(cast, more)
        keep_history(is_kept=True)
        client.force_login(cast.coordinator)
        with CaptureQueriesContext(connection) as queries:
            page = client.get(DESK)
        asked.append(len(queries))
        sizes.append(len(page.content))
    assert f"{MANY + 2} visits to check" in page.content.decode()
    assert asked[0] == asked[1] <= CEILING
    # Every list is cut short: very many rows make no longer page than twelve of each.
    assert sizes[1] < 2 * sizes[0]


class TestAtTheIncident:
    @pytest.fixture
    def incident(self, watch: Watch, client: Client) -> Incident:  # noqa: F811
        watch.submit_low()
        client.force_login(watch.cast.coordinator)
        return the_incident()

    def test_it_is_acknowledged_and_noted_from_its_row(self, incident: Incident, client: Client) -> None:
        start = f"/incidents/{incident.pk}/"
        assert f'action="{start}acknowledge/"' in client.get(DESK).content.decode()
        note = {"note-note": "The officer is on the way.", "note-reference": "R-7"}
        for step, sent in (("acknowledge/", {}), ("note/", note), ("investigate/", {})):
            assert client.post(start + step, {"back": "desk", **sent})["Location"] == DESK
        incident.refresh_from_db()
        assert (incident.state, incident.agency_reference) == (IncidentState.INVESTIGATED, "R-7")
        kinds = set(incident.events.values_list("kind", flat=True))
        assert {EventKind.ACKNOWLEDGED, EventKind.NOTE, EventKind.INVESTIGATED} <= kinds
        assert "R-7" in client.get(DESK).content.decode()

    def test_an_empty_note_is_told_at_its_field_and_leads_back_to_the_desk(
        self, incident: Incident, client: Client
    ) -> None:
        answer = client.post(f"/incidents/{incident.pk}/note/", {"back": "desk", "note-note": "  "})
        page = answer.content.decode()
        assert answer.status_code == 422
        # The page to mend it on keeps where the form came from.
        assert 'name="back" value="desk"' in page
        assert "Write a note or the agency" in page

    def test_a_volunteer_sees_it_and_has_nothing_to_press(
        self, cast: Cast, incident: Incident, client: Client
    ) -> None:
        page = page_of(client, cast, "volunteer")
        assert incident.reference in page
        assert "acknowledge/" not in page


class TestPermissions:
    def until(self, cast: Cast, days: int) -> None:
        day = timezone.localdate() + timedelta(days=days)
        Site.objects.of_group(cast.group).filter(pk=cast.site.pk).update(permission_until=day)

    @pytest.mark.parametrize(("days", "is_shown"), [(-1, True), (60, True), (61, False)])
    def test_it_is_on_the_desk_from_sixty_days_before_its_end(
        self, cast: Cast, client: Client, days: int, is_shown: bool
    ) -> None:
        self.until(cast, days)
        assert (f"sites/{cast.site.pk}/permission/" in page_of(client, cast)) == is_shown
        assert "permission/" not in page_of(client, cast, "volunteer")

    def test_it_is_renewed_from_its_row(self, cast: Cast, client: Client) -> None:
        self.until(cast, 5)
        client.force_login(cast.coordinator)
        new = timezone.localdate() + timedelta(days=365)
        sent = {"back": "desk", "permission_until": new.isoformat()}
        assert client.post(f"{DESK}sites/{cast.site.pk}/permission/", sent)["Location"] == DESK
        cast.site.refresh_from_db()
        assert cast.site.permission_until == new
        assert "Permissions that end" not in client.get(DESK).content.decode()

    @pytest.mark.parametrize(
        ("typed", "told"),
        [("", "Fill this in."), ("2031-02-30", "valid date"), ("2020-01-01", "is over")],
    )
    def test_a_wrong_day_is_told_at_its_field_and_stays_in_it(
        self, cast: Cast, client: Client, typed: str, told: str
    ) -> None:
        self.until(cast, 5)
        client.force_login(cast.coordinator)
        sent = {"back": "desk", "permission_until": typed}
        answer = client.post(f"{DESK}sites/{cast.site.pk}/permission/", sent)
        page = answer.content.decode()
        assert answer.status_code == 422
        assert told in page[page.index("id_permission_until_error") :]
        assert not typed or f'value="{typed}"' in page
        assert 'name="back" value="desk"' in page
        cast.site.refresh_from_db()
        assert cast.site.permission_until == timezone.localdate() + timedelta(days=5)


def form_of_a_person(page: str) -> str:
    """Where the form in a person's row sends to."""
    found: list[str] = re.findall(r'action="([^"]*/people/[^"]*)"', page)
    return found[0]


class TestTrainings:
    @pytest.fixture
    def lapsing(self, cast: Cast) -> Training:
        kind = add_usual_kinds(person=cast.person("coordinator"), group=cast.group)[0]
        membership = cast.volunteer.memberships.get(group=cast.group)
        trained = Trained(kind.pk, days_ago(900), trainer_name="Sedge", valid_until=days_ago(-20))
        return record_training(person=cast.person("coordinator"), membership=membership, trained=trained)

    def test_a_new_one_is_written_down_from_its_row(
        self, cast: Cast, client: Client, lapsing: Training
    ) -> None:
        page = page_of(client, cast)
        assert "1 training lapses" in page
        assert f'name="kind" value="{lapsing.kind_id}"' in page
        sent = {"back": "desk", "kind": lapsing.kind_id, "trained_on": days_ago(1), "trainer_name": "Sedge"}
        assert client.post(form_of_a_person(page), sent)["Location"] == DESK
        assert "training lapses" not in client.get(DESK).content.decode()

    def test_what_is_missing_is_told_and_nothing_typed_is_lost(
        self, cast: Cast, client: Client, lapsing: Training
    ) -> None:
        page = page_of(client, cast)
        sent = {"back": "desk", "kind": lapsing.kind_id, "trained_on": days_ago(1), "evidence": "Three spots."}
        answer = client.post(form_of_a_person(page), sent)
        assert answer.status_code == 422
        for part in ("Choose the trainer, or write their name.", "Three spots.", 'name="back" value="desk"'):
            assert part in answer.content.decode()


def test_an_enquiry_is_counted_on_top_and_answered_in_its_row(cast: Cast, client: Client) -> None:
    now = timezone.now()
    enquiry = Enquiry.objects.create(
        group=cast.group, state="asked", name="Tansy", email="tansy@example.org", agreed_at=now, changed_at=now
    )
    assert "1 open enquiry" in page_of(client, cast)
    address = reverse("enquiry_answer", args=[cast.group.slug, enquiry.pk])
    assert f'action="{address}"' in client.get(DESK).content.decode()
    assert client.post(address, {"back": "desk", "message": ""}).status_code == 422
    assert client.post(address, {"back": "desk", "message": "Come on Saturday."})["Location"] == DESK
    enquiry.refresh_from_db()
    assert enquiry.state == "answered"


def test_undelivered_messages_are_named_and_tried_again_from_the_desk(cast: Cast, client: Client) -> None:
    message = owe_message(
        key="k", kind="alert", to_address="gone@example.org", subject="Low score", text="t", group=cast.group
    )
    Attempt.objects.create(message=message, succeeded=False, code=451, answer="later")
    later = timezone.now() + timedelta(hours=1)
    Message.objects.of_group(cast.group).filter(pk=message.pk).update(attempts_made=1, not_before=later)
    page = page_of(client, cast)
    assert "1 message not delivered" in page
    assert "gone@example.org" in page
    assert client.post(f"{DESK}messages/try-again/", {"back": "desk"})["Location"] == DESK
    message.refresh_from_db()
    assert message.not_before <= timezone.now()


def test_the_box_that_approves_has_a_word_beside_it_on_every_screen(cast: Cast, client: Client) -> None:
    submit(cast.person("volunteer"), cast.site)
    label = re.search(r'<label class="tick">(.*?)</label>', page_of(client, cast))
    assert label
    assert re.sub(r'<span class="visually-hidden">.*?</span>|<[^>]*>', "", label[1]).strip() == "Approve"


def test_a_newcomer_is_told_what_comes_before_a_first_visit(client: Client, cast: Cast) -> None:
    shown = page_of(client, cast, "volunteer")
    assert "never alone, and never into high or clouded water" in shown
    for name in ("outing_rules", "emergency_edit"):
        assert f'href="{reverse(name, args=[cast.group.slug])}"' in shown
    assert "Before your first visit" not in page_of(client, cast, "coordinator")
    cast.volunteer.memberships.update(joined_at=timezone.now() - timedelta(days=31))
    assert "Before your first visit" not in page_of(client, cast, "volunteer")
