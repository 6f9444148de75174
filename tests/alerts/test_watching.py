"""What the clock and failed mail do to an incident."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.utils import timezone
from pytest_django import Settings

from alerts.models import (
    AgencyContact,
    AlertPolicy,
    ContactAbsence,
    ContactHours,
    Incident,
    IncidentState,
    Outcome,
    RepeatRequest,
)
from alerts.services.clockwork import Trouble
from alerts.services.incidents import acknowledge_incident, close_incident, investigate_incident
from alerts.tasks import watch_incidents, watch_repeat_visits
from portal.accounts.models import Group
from portal.outbox.models import State
from portal.outbox.tasks import sweep_outbox
from surveys.services.visits import correct_visit
from tests.alerts.conftest import Watch, course, kinds_to, mails, the_incident
from tests.factories import submission_for
from tests.mail import Postbox, receiving, smtp_settings

pytestmark = pytest.mark.django_db

INES, BO, CORA = "ines@rivers.example", "bo@rivers.example", "cora@example.org"


def after(hours: float) -> time_machine.travel:
    return time_machine.travel(timezone.now() + timedelta(hours=hours), tick=True)


def test_it_waits_for_the_whole_time_to_acknowledge(watch: Watch) -> None:
    watch.submit_low()
    with after(3.9):
        watch_incidents()
    assert kinds_to(BO) == []


def test_it_reminds_the_contact_once_before_it_goes_further(watch: Watch) -> None:
    watch.submit_low()
    with after(1.9):
        assert watch_incidents() == 0
    with after(2.1):
        assert watch_incidents() == 1
        assert watch_incidents() == 0
    assert kinds_to(INES) == ["contact.told", "contact.reminded"]
    assert kinds_to(BO) == []
    assert mails(kind="contact.reminded")[0].subject.startswith("Reminder: Stepping stones")
    assert course(the_incident()) == ["opened", "told", "reminded"]


def test_it_reminds_nobody_who_has_been_passed_over(watch: Watch) -> None:
    """A clock that stood still for hours: the next contact is told, and the first is spared the reminder."""
    watch.submit_low()
    with after(4.1):
        watch_incidents()
    assert kinds_to(INES) == ["contact.told"]


@pytest.mark.parametrize("hours", [0, 4, 9])
def test_it_leaves_out_a_reminder_that_would_come_with_the_next_contact(watch: Watch, hours: int) -> None:
    AlertPolicy.objects.create(group=watch.cast.group, remind_hours=hours)
    watch.submit_low()
    with after(3.9):
        assert watch_incidents() == 0
    assert the_incident().remind_at is None


@pytest.mark.parametrize("act", [acknowledge_incident, investigate_incident])
def test_whoever_has_answered_is_not_reminded(watch: Watch, act: Callable[..., Incident]) -> None:
    watch.submit_low()
    act(incident=the_incident(), contact=watch.first)
    with after(5):
        assert watch_incidents() == 0
    assert kinds_to(INES) == ["contact.told"]


LONDON = ZoneInfo("Europe/London")


def on_monday(hour: int, days: int = 0) -> datetime:
    """An hour in London on the Monday after next, or so many days after it."""
    today = timezone.localdate()
    monday = today + timedelta(days=14 - today.weekday() + days)
    return datetime.combine(monday, time(hour), LONDON)


def keep_office_hours(contact: AgencyContact) -> None:
    for weekday in range(5):
        ContactHours.objects.create(contact=contact, weekday=weekday, opens=time(9), closes=time(17))


@pytest.mark.parametrize(("days", "hour", "told"), [(0, 12, INES), (0, 18, BO), (4, 16, INES), (5, 12, BO)])
def test_it_passes_over_whoever_is_not_at_work(watch: Watch, days: int, hour: int, told: str) -> None:
    keep_office_hours(watch.first)
    with time_machine.travel(on_monday(hour, days), tick=False):
        watch.submit_low(visited_on=timezone.localdate().isoformat())
    assert [each.to_address for each in mails(kind="contact.told")] == [told]


def test_a_contact_who_is_away_is_passed_over(watch: Watch) -> None:
    today = timezone.localdate()
    ContactAbsence.objects.create(contact=watch.first, first_day=today, last_day=today)
    watch.submit_low()
    assert [each.to_address for each in mails(kind="contact.told")] == [BO]


def test_a_night_does_not_count_as_time_to_answer(watch: Watch) -> None:
    for contact in (watch.first, watch.second):
        keep_office_hours(contact)
    with time_machine.travel(on_monday(15), tick=False):
        watch.submit_low(visited_on=timezone.localdate().isoformat())
    # Three in the afternoon: two hours that day, two the next morning.
    assert the_incident().acknowledge_by == on_monday(11, days=1)
    assert the_incident().remind_at == on_monday(17)


def test_it_tells_the_next_contact_when_the_first_does_not_answer(watch: Watch) -> None:
    watch.submit_low()
    with after(4.1):
        assert watch_incidents() == 1
        assert watch_incidents() == 0, "the next one has the whole time too"
    assert course(the_incident()) == ["opened", "told", "unanswered", "told"]
    assert kinds_to(BO) == ["contact.told"]
    assert kinds_to(CORA) == ["coordinator.told", "coordinator.unanswered"]
    assert "Ines Halloran" in mails(kind="coordinator.unanswered")[0].text


def test_it_asks_the_coordinators_to_telephone_when_nobody_is_left(watch: Watch) -> None:
    watch.submit_low()
    for hours in (4.1, 8.2):
        with after(hours):
            watch_incidents()
    assert kinds_to(CORA)[-1] == "coordinator.coordinators_told"
    assert "telephone the agency" in mails(kind="coordinator.coordinators_told")[0].text
    with after(50):
        assert watch_incidents() == 0, "they are asked once"
    assert the_incident().state == IncidentState.OPEN


@pytest.mark.parametrize("end", ["acknowledged", "closed"])
def test_it_leaves_an_answered_incident_alone(watch: Watch, end: str) -> None:
    watch.submit_low()
    person = watch.cast.person("coordinator")
    if end == "acknowledged":
        acknowledge_incident(incident=the_incident(), person=person)
    else:
        close_incident(incident=the_incident(), person=person, outcome=Outcome.NATURAL, note="")
    with after(5):
        assert watch_incidents() == 0
    assert kinds_to(BO) == []


def hold(watch: Watch, hours: int) -> None:
    Group.objects.filter(pk=watch.cast.group.pk).update(hold_hours=hours)
    watch.site.group.refresh_from_db()


def test_it_keeps_a_held_alert_until_its_time(watch: Watch) -> None:
    hold(watch, 6)
    watch.submit_low()
    with after(5.9):
        assert watch_incidents() == 0
    assert kinds_to(INES) == []


def test_it_sends_a_held_alert_at_the_latest_when_its_time_is_up(watch: Watch) -> None:
    hold(watch, 6)
    watch.submit_low()
    with after(6.1):
        assert watch_incidents() == 1
        until = the_incident().acknowledge_by
        assert until is not None
        assert until > timezone.now() + timedelta(hours=3)
    assert the_incident().state == IncidentState.OPEN
    assert kinds_to(INES) == ["contact.told"]
    assert "NOT YET CHECKED" in mails(kind="contact.told")[0].text


def test_it_goes_on_with_the_others_when_one_incident_makes_trouble(
    watch: Watch, caplog: pytest.LogCaptureFixture
) -> None:
    """An incident without a visit cannot be told of; it is the older one, and so the first in line."""
    watch.submit_low()
    lost = Incident.objects.create(
        group=watch.cast.neighbour,
        site=watch.cast.neighbour_site,
        year=2026,
        number=1,
        acknowledge_by=timezone.now() - timedelta(days=1),
        opened_at=timezone.now() - timedelta(days=2),
    )
    with after(4.1), pytest.raises(Trouble):
        watch_incidents()
    assert course(the_incident_of(watch))[-2:] == ["unanswered", "told"]
    assert course(lost) == [], "half a step is none"
    assert "What the clock asks of" in caplog.text


def test_repeat_visits_go_on_when_one_makes_trouble(watch: Watch, monkeypatch: pytest.MonkeyPatch) -> None:
    from alerts.services import repeat_watch

    watch.submit_low()
    request = RepeatRequest.objects.across_groups("tests").get()
    other = RepeatRequest.objects.create(
        group=watch.cast.neighbour,
        incident=Incident.objects.create(
            group=watch.cast.neighbour, site=watch.cast.neighbour_site, year=2026, number=1
        ),
        due_on=request.due_on,
    )
    seen: list[RepeatRequest] = []

    def troubled(each: RepeatRequest) -> bool:
        seen.append(each)
        if len(seen) == 1:
            raise ValueError("broken")
        return True

    monkeypatch.setattr(repeat_watch, "_watch_one", troubled)
    with pytest.raises(Trouble):
        watch_repeat_visits()
    assert {each.pk for each in seen} == {request.pk, other.pk}


def the_incident_of(watch: Watch) -> Incident:
    return Incident.objects.filter(group=watch.cast.group).get()


@pytest.fixture
def postbox(settings: Settings) -> Iterator[Postbox]:
    with receiving() as box:
        settings.OUTBOX_SMTP = smtp_settings(box.port)
        yield box


def test_it_tells_the_next_contact_when_the_first_cannot_be_reached(watch: Watch, postbox: Postbox) -> None:
    postbox.rcpt_answers = {INES: "550 no such mailbox"}
    watch.submit_low()
    sweep_outbox()
    sweep_outbox()
    assert course(the_incident()) == ["opened", "told", "undeliverable", "told"]
    assert BO in postbox.recipients
    assert kinds_to(CORA) == ["coordinator.told", "coordinator.undeliverable"]
    notice = mails(kind="coordinator.undeliverable")[0].text
    assert "no such mailbox" in notice
    assert INES in notice


def test_it_asks_for_a_call_when_no_contact_can_be_reached(watch: Watch, postbox: Postbox) -> None:
    postbox.rcpt_answers = {INES: "550 no", BO: "550 no"}
    watch.submit_low()
    for _ in range(3):
        sweep_outbox()
    assert course(the_incident())[-2:] == ["undeliverable", "coordinators_told"]
    assert mails(state=State.OWED) == []


def test_it_only_notes_that_a_coordinator_cannot_be_reached(watch: Watch, postbox: Postbox) -> None:
    postbox.rcpt_answers = {CORA: "550 no such mailbox"}
    watch.submit_low()
    for _ in range(3):
        sweep_outbox()
    assert course(the_incident()) == ["opened", "told", "undeliverable"]
    assert kinds_to(CORA) == ["coordinator.told"]
    assert mails(state=State.OWED) == []


def test_it_does_not_go_on_when_the_incident_is_acknowledged_already(watch: Watch, postbox: Postbox) -> None:
    postbox.rcpt_answers = {INES: "550 no such mailbox"}
    watch.submit_low()
    acknowledge_incident(incident=the_incident(), person=watch.cast.person("coordinator"))
    sweep_outbox()
    assert kinds_to(BO) == []
    assert kinds_to(CORA)[-1] == "coordinator.undeliverable"


def test_it_notes_a_failed_mail_of_a_closed_incident_without_low_visits(watch: Watch, postbox: Postbox) -> None:
    visit, person = watch.submit_low(), watch.cast.person("coordinator")
    sweep_outbox()
    close_incident(incident=the_incident(), outcome=Outcome.NATURAL, note="Looked.", person=person)
    right = submission_for(visit.site, id=str(visit.pk), visited_on=visit.visited_on.isoformat())
    correct_visit(person=person, visit=visit, submission=right, reason="Miscounted.")
    assert course(the_incident())[-1] == "lifted"
    assert not the_incident().visits.exists()
    postbox.rcpt_answers = {INES: "550 no such mailbox"}
    sweep_outbox()
    assert course(the_incident())[-1] == "undeliverable"
    assert "no such mailbox" in mails(kind="coordinator.undeliverable")[0].text


def test_it_ignores_failed_mail_about_anything_else(watch: Watch, postbox: Postbox) -> None:
    from portal.outbox.services import owe_message

    postbox.rcpt_answers = {INES: "550 no such mailbox"}
    message = owe_message(
        key="x", kind="contact.told", to_address=INES, subject="s", text="t", about=watch.site
    )
    sweep_outbox()
    message.refresh_from_db()
    assert message.state == State.FAILED
    assert Incident.objects.filter(group=watch.cast.group).count() == 0


def test_it_delivers_a_whole_alert_over_smtp(watch: Watch, postbox: Postbox) -> None:
    watch.submit_low()
    assert sweep_outbox() == 7  # the contact, two coordinators, and four offers of the repeat visit
    mail = next(each for each in postbox.mails if INES in each["To"])
    kinds = [part.get_content_type() for part in mail.walk()]
    assert kinds == [
        "multipart/alternative",
        "text/plain",
        "multipart/related",
        "text/html",
        "image/png",
    ]
    assert mail["Reply-To"] == CORA
