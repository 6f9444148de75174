"""Further low visits are told as updates: at once, then gathered, never lost."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.utils import timezone

from alerts.models import Outcome
from alerts.services.incidents import close_incident
from alerts.services.updates import UPDATE_PAUSE
from portal.outbox.models import Message, State
from surveys.models import Visit
from tests.alerts.conftest import Watch, mails, the_incident
from tests.alerts.test_incidents import approve, correct
from tests.factories import CLEAN_COUNTS, days_ago

pytestmark = pytest.mark.django_db
INES = "ines@rivers.example"


def low(watch: Watch, ago: int, hours: float = 0.0, **changes: Any) -> Visit:
    """A low visit of that many days ago, submitted so many hours from now."""
    day = days_ago(ago).isoformat()
    with time_machine.travel(timezone.now() + timedelta(hours=hours), tick=True):
        return watch.submit_low(visited_on=day, **changes)


def updates(to: str = INES) -> list[Message]:
    """The updates that have left or will."""
    return [each for each in mails(kind="contact.joined", to_address=to) if each.state != State.CANCELLED]


def hours_from_now(message: Message) -> float:
    return round((message.not_before - timezone.now()) / timedelta(hours=1), 1)


def test_the_first_further_low_visit_is_told_at_once(watch: Watch) -> None:
    low(watch, 9)
    low(watch, 8)
    (update,) = updates()
    assert hours_from_now(update) == 0


def test_what_follows_is_gathered_into_one_message_that_leaves_after_the_pause(watch: Watch) -> None:
    low(watch, 9)
    for number, ago in enumerate((8, 7, 6, 5)):
        low(watch, ago, hours=number)
    first, gathered = updates()
    assert gathered.not_before == first.not_before + UPDATE_PAUSE
    for ago in (7, 6):
        words = f"{days_ago(ago):%-d %B %Y}: BMWP 6, below the trigger of 30"
        assert words in gathered.text
        assert words in gathered.html
    assert f"{days_ago(5):%-d %B %Y}" in gathered.text
    assert f"{days_ago(8):%-d %B %Y}: BMWP" not in gathered.text


def test_each_contact_who_was_told_has_a_pause_of_their_own(watch: Watch) -> None:
    low(watch, 9)
    low(watch, 8)
    low(watch, 7)
    assert [len(updates(to)) for to in (INES, "bo@rivers.example")] == [2, 0]


def test_a_contact_out_of_service_hears_no_more(watch: Watch) -> None:
    low(watch, 9)
    watch.first.is_active = False
    watch.first.save()
    low(watch, 8)
    person = watch.cast.person("coordinator")
    close_incident(incident=the_incident(), outcome=Outcome.NATURAL, note="Drought.", person=person)
    assert [each.kind for each in mails(to_address=INES)] == ["contact.told"]


def test_after_the_pause_an_update_leaves_at_once_again(watch: Watch) -> None:
    low(watch, 9)
    low(watch, 8)
    low(watch, 7, hours=4.1)
    assert [hours_from_now(each) for each in updates()] == [0, 4.1]


def test_the_pause_counts_from_when_a_gathered_update_leaves(watch: Watch) -> None:
    low(watch, 9)
    low(watch, 8)
    low(watch, 7, hours=1)
    low(watch, 6, hours=5)
    assert [hours_from_now(each) for each in updates()] == [0, 4, 8]


def test_coordinators_hear_of_each_at_once(watch: Watch) -> None:
    for ago in (9, 8, 7, 6):
        low(watch, ago)
    told = mails(kind="coordinator.joined", to_address="cora@example.org")
    assert [hours_from_now(each) for each in told] == [0, 0, 0]


def test_a_visit_that_a_correction_lifts_is_left_out_and_the_others_stay(watch: Watch) -> None:
    for ago in (9, 8, 7):
        low(watch, ago)
    mistaken = low(watch, 6)
    correct(watch.cast, mistaken, dict(CLEAN_COUNTS))
    _first, gathered = updates()
    assert f"{days_ago(7):%-d %B %Y}" in gathered.text
    assert f"{days_ago(6):%-d %B %Y}" not in gathered.text


def test_nothing_waits_any_more_once_all_that_was_gathered_is_lifted(watch: Watch) -> None:
    for ago in (9, 8):
        low(watch, ago)
    correct(watch.cast, low(watch, 7), dict(CLEAN_COUNTS))
    assert len(updates()) == 1
    assert mails(kind="contact.lifted", to_address=INES)


def test_what_waits_is_brought_up_to_date_when_a_visit_of_it_is_approved(watch: Watch) -> None:
    for ago in (9, 8):
        low(watch, ago)
    approve(watch.cast, low(watch, 7))
    _first, gathered = updates()
    assert "Checked and approved by the group." in gathered.text
    assert hours_from_now(gathered) == 4


def test_what_waits_leaves_before_the_end_of_the_incident_is_told(watch: Watch) -> None:
    for ago in (9, 8, 7):
        low(watch, ago)
    person = watch.cast.person("coordinator")
    close_incident(incident=the_incident(), outcome=Outcome.NATURAL, note="Drought.", person=person)
    assert [hours_from_now(each) for each in updates()] == [0, 0]


def test_an_update_that_is_being_tried_again_is_not_taken_for_one_that_waits(watch: Watch) -> None:
    low(watch, 9)
    low(watch, 8)
    Message.objects.of_group(watch.cast.group).filter(kind="contact.joined").update(
        attempts_made=1, not_before=timezone.now() + timedelta(minutes=5)
    )
    low(watch, 7)
    assert [hours_from_now(each) for each in updates()] == [0.1, 4.1]
