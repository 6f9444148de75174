"""The words of each mail: who reads what about which step."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from alerts.chain.course import MARKS, course_of
from alerts.contacts.links import make_token
from alerts.models import EventKind
from alerts.services.wording import HEADLINES
from portal.accounts.models import User
from portal.outbox.models import Message
from tests.alerts.conftest import Watch, mails, the_incident, verdict_of
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


@pytest.mark.parametrize(
    ("kind", "start"), [("contact.joined", "Further low visit:"), ("coordinator.joined", "Further low visit:")]
)
def test_it_begins_the_subject_with_what_is_new(watch: Watch, kind: str, start: str) -> None:
    watch.submit_low(visited_on=days_ago(3).isoformat())
    watch.submit_low()
    assert only(kind).subject.startswith(start)


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


def test_it_says_why_a_visit_was_tested_all_the_same(watch: Watch) -> None:
    watch.submit_low(water_level="spate", pollution_signs="Foam.")
    for part in (only("contact.told").text, only("contact.told").html):
        assert "ested all the same" in part.lower()
        assert "washes animals away" in part


def test_it_orders_the_course_by_time(watch: Watch) -> None:
    watch.submit_low(visited_on=days_ago(3).isoformat())
    watch.submit_low()
    times = [each.when for each in course_of(the_incident(), for_member=True)]
    assert times == sorted(times)
    assert len(times) == 4


def test_it_keeps_the_reasons_with_the_verdict_for_ever(watch: Watch) -> None:
    visit = watch.submit_low(water_level="spate")
    watch.trigger.level = 1
    watch.trigger.save()
    assert verdict_of(visit).reasons == ["spate"]
