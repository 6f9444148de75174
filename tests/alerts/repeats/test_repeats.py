"""Repeat visits: asked for, offered, taken on by one, made, lapsed, no longer needed."""

from __future__ import annotations

import threading
from datetime import datetime, timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from alerts.models import AlertPolicy, QuietPeriod, RepeatOffer, RepeatRequest
from alerts.repeats.links import offer_token
from alerts.repeats.wanted import live_repeat
from alerts.services.incidents import close_incident, investigate_incident
from alerts.services.repeat_course import give_back_repeat, take_repeat
from alerts.services.repeats import ask_again
from alerts.tasks import watch_repeat_visits
from portal.accounts.models import Membership
from portal.accounts.services import end_membership
from portal.audit.services import history_of
from surveys.models import RiverReport, Visit
from tests.alerts.conftest import Watch, mails, the_incident
from tests.alerts.test_incidents import correct
from tests.alerts.test_side_by_side import at_once
from tests.factories import CLEAN_COUNTS

pytestmark = pytest.mark.django_db
OFFERED = {"kind": "volunteer.repeat_offered"}
VERA = "vera@example.org"


def wanted() -> RepeatRequest:
    return RepeatRequest.objects.across_groups("tests look at all").get()


def steps() -> list[str]:
    found = the_incident().events.filter(kind__startswith="repeat_").order_by("at", "id")
    return [each.kind for each in found]


def flood(watch: Watch, hours: int = 24) -> RiverReport:
    now = timezone.now()
    return RiverReport.objects.create(
        site=watch.site, too_high=True, reported_at=now, holds_until=now + timedelta(hours=hours)
    )


def later(days: float) -> datetime:
    return timezone.localtime().replace(hour=10, minute=0) + timedelta(days=days)


def repeat(watch: Watch, *, low: bool, days: int = 1) -> Visit:
    with time_machine.travel(later(days), tick=True):
        made = {"by": "other_volunteer", "visited_on": timezone.localdate().isoformat()}
        return watch.submit_low(**made) if low else watch.submit_clean(**made)


def test_a_low_visit_asks_for_a_repeat_and_offers_it_to_every_member(watch: Watch) -> None:
    watch.submit_low()
    request = wanted()
    assert request.due_on == timezone.localdate() + timedelta(days=3)
    assert steps() == ["repeat_asked"]
    offered = {each.to_address: each for each in mails(**OFFERED)}
    assert set(offered) == {VERA, "owen@example.org", "cora@example.org", "cole@example.org"}
    for words in ("/repeat/", "another adult", "clouded water", "What a repeat tells", "95 %"):
        assert words.lower() in offered[VERA].text.lower()
        assert words.lower() in offered[VERA].html.lower()


def test_a_clean_visit_asks_for_none(watch: Watch) -> None:
    watch.submit_clean()
    assert not RepeatRequest.objects.across_groups("tests look at all").exists()


def test_the_group_says_in_how_many_days_and_whether_at_all(watch: Watch) -> None:
    AlertPolicy.objects.create(group=watch.cast.group, repeat_days=0)
    watch.submit_low()
    assert steps() == []
    with pytest.raises(ValidationError, match="policy"):
        ask_again(person=watch.cast.person("coordinator"), incident=the_incident())


def test_a_quiet_site_is_not_visited_again(watch: Watch) -> None:
    QuietPeriod.objects.create(
        group=watch.cast.group, site=watch.site, ends_at=later(2), reason="Works in the stream."
    )
    watch.submit_low()
    assert steps() == []


def test_nobody_is_asked_to_a_high_river_until_it_has_fallen(watch: Watch) -> None:
    flood(watch)
    watch.submit_low()
    assert mails(**OFFERED) == []
    assert "above this site's limit" in the_incident().events.get(kind="repeat_asked").note
    with pytest.raises(ValidationError, match="above this site"):
        take_repeat(person=watch.cast.person("volunteer"), incident=the_incident())
    assert watch_repeat_visits() == 0
    with time_machine.travel(later(2), tick=True):
        assert [watch_repeat_visits(), watch_repeat_visits()] == [1, 0]
    assert len(mails(**OFFERED)) == 4


def test_nobody_is_asked_to_a_closed_site(watch: Watch) -> None:
    watch.submit_low()
    watch.site.closed_on = timezone.localdate()
    watch.site.save()
    with pytest.raises(ValidationError, match="closed"):
        take_repeat(person=watch.cast.person("volunteer"), incident=the_incident())


def test_who_comes_first_has_it_and_may_give_it_back(watch: Watch) -> None:
    watch.submit_low()
    vera, owen = watch.cast.person("volunteer"), watch.cast.person("other_volunteer")
    for _twice in range(2):
        take_repeat(person=vera, incident=the_incident())
    with pytest.raises(ValidationError, match="Somebody else"):
        take_repeat(person=owen, incident=the_incident())
    with pytest.raises(ValidationError, match="Somebody else"):
        give_back_repeat(person=owen, incident=the_incident())
    give_back_repeat(person=vera, incident=the_incident())
    assert steps() == ["repeat_asked", "repeat_taken", "repeat_asked"]
    again = [each.to_address for each in mails(**OFFERED) if "wanted again" in each.subject]
    assert VERA not in again
    assert len(again) == 3
    take_repeat(person=owen, incident=the_incident())
    assert wanted().taken_by == watch.cast.other_volunteer


def test_whoever_leaves_the_group_gives_it_back(watch: Watch) -> None:
    watch.submit_low()
    incident, cast = the_incident(), watch.cast
    take_repeat(person=cast.person("volunteer"), incident=incident)
    own = {
        each.user_id: each for each in Membership.objects.of_group(cast.group).select_related("group", "user")
    }
    for who in (cast.other_volunteer, cast.volunteer):
        end_membership(person=cast.person("coordinator"), membership=own[who.pk])
    assert (wanted().state, wanted().taken_by, wanted().taken_at) == ("open", None, None)
    assert steps() == ["repeat_asked", "repeat_taken", "repeat_asked"]
    assert incident.events.get(kind="repeat_asked", note__contains="has left the group").actor is None
    asked = {each.to_address for each in mails(**OFFERED) if "wanted again" in each.subject}
    # Nor is anybody asked who had left before.
    assert asked == {cast.coordinator.email, cast.second_coordinator.email}
    assert history_of(wanted(), cast.group).filter(verb="repeat.open").count() == 1


def test_whoever_leaves_takes_nothing_with_them_that_somebody_else_has(watch: Watch) -> None:
    watch.submit_low()
    take_repeat(person=watch.cast.person("volunteer"), incident=the_incident())
    own = Membership.objects.of_group(watch.cast.group).get(user=watch.cast.other_volunteer)
    end_membership(person=watch.cast.person("coordinator"), membership=own)
    assert wanted().taken_by == watch.cast.volunteer


@pytest.mark.django_db(transaction=True)
def test_of_two_at_once_one_has_it(watch: Watch) -> None:
    watch.submit_low()
    incident, both = the_incident(), threading.Barrier(2, timeout=20)

    def click(who: str) -> None:
        person = watch.cast.person(who)
        both.wait()
        take_repeat(person=person, incident=incident)

    raised = at_once(lambda: click("volunteer"), lambda: click("other_volunteer"))
    assert [type(each) for each in raised] == [ValidationError]
    assert steps().count("repeat_taken") == 1


def test_the_link_takes_it_on_and_gives_it_back_without_an_account(watch: Watch, client: Client) -> None:
    watch.submit_low()
    offer = RepeatOffer.objects.across_groups("tests look at all").get(user=watch.cast.volunteer)
    token = offer_token(offer)
    page = client.get(reverse("repeat_link", args=[token])).content.decode()
    assert "I take it on" in page
    assert "another adult" in page
    assert wanted().state == "open"
    answer = client.post(reverse("repeat_link_take", args=[token]), follow=True).content.decode()
    assert wanted().taken_by == watch.cast.volunteer
    assert "You have taken it on" in answer
    client.post(reverse("repeat_link_give_back", args=[token]))
    assert wanted().state == "open"


def test_the_link_is_dead_when_old_and_when_the_member_has_left(watch: Watch, client: Client) -> None:
    watch.submit_low()
    offer = RepeatOffer.objects.across_groups("tests look at all").get(user=watch.cast.volunteer)
    url = reverse("repeat_link", args=[offer_token(offer)])
    with time_machine.travel(later(61)):
        assert client.get(url).status_code == 410
    assert client.get(url.replace(":", ":x", 1)).status_code == 404
    left = Membership.objects.of_group(watch.cast.group).filter(user=watch.cast.volunteer)
    left.update(left_at=timezone.now())
    assert client.get(url).status_code == 410
    assert client.post(reverse("repeat_link_take", args=[offer_token(offer)])).status_code == 410


def test_a_low_repeat_confirms(watch: Watch, client: Client) -> None:
    watch.submit_low()
    visit = repeat(watch, low=True)
    assert (wanted().state, wanted().visit) == ("done", visit)
    assert "It confirms the fall" in the_incident().events.get(kind="repeat_made").note
    client.force_login(watch.cast.coordinator)
    page = client.get(reverse("incident_detail", args=[the_incident().pk])).content.decode()
    assert "it confirms the fall" in page
    assert "Close as not confirmed" not in page


def test_a_repeat_that_is_not_low_asks_the_coordinators_and_closes_nothing(
    watch: Watch, client: Client
) -> None:
    watch.submit_low()
    investigate_incident(incident=the_incident(), contact=watch.first)
    take_repeat(person=watch.cast.person("volunteer"), incident=the_incident())
    repeat(watch, low=False)
    assert the_incident().state == "investigated"
    told = mails(kind="coordinator.repeat_made")
    assert {each.to_address for each in told} == {"cora@example.org", "cole@example.org"}
    assert "speak with them first" in told[0].text
    # Vera had taken it on, and Owen has made it.
    assert [each.to_address for each in mails(kind="volunteer.repeat_over")] == [VERA]
    client.force_login(watch.cast.coordinator)
    url = reverse("incident_detail", args=[the_incident().pk])
    assert "Close as not confirmed" in client.get(url).content.decode()
    given = {"close-outcome": "not_confirmed", "close-note": "The repeat visit was not low."}
    client.post(reverse("incident_close", args=[the_incident().pk]), given)
    assert the_incident().outcome == "not_confirmed"


def test_a_repeat_that_was_not_tested_leaves_the_wish(watch: Watch) -> None:
    watch.submit_low()
    with time_machine.travel(later(1), tick=True):
        watch.submit_clean(
            by="other_volunteer", visited_on=timezone.localdate().isoformat(), water_level="spate"
        )
    assert wanted().state == "open"
    assert "still wanted" in the_incident().events.get(kind="note").note


def test_a_visit_made_before_the_wish_is_no_repeat(watch: Watch) -> None:
    watch.submit_low()
    yesterday = timezone.localdate() - timedelta(days=1)
    watch.submit_clean(by="other_volunteer", visited_on=yesterday.isoformat())
    assert wanted().state == "open"


def test_it_reminds_on_the_last_day_and_then_lapses(watch: Watch) -> None:
    watch.submit_low()
    take_repeat(person=watch.cast.person("volunteer"), incident=the_incident())
    with time_machine.travel(later(3), tick=True):
        assert [watch_repeat_visits(), watch_repeat_visits()] == [1, 0]
    last = [each.to_address for each in mails(**OFFERED) if "last day" in each.subject]
    assert last == [VERA]
    with time_machine.travel(later(4), tick=True):
        assert [watch_repeat_visits(), watch_repeat_visits()] == [1, 0]
    assert wanted().state == "lapsed"
    assert {each.to_address for each in mails(kind="coordinator.repeat_lapsed")} == {
        "cora@example.org",
        "cole@example.org",
    }
    ask_again(person=watch.cast.person("coordinator"), incident=the_incident())
    assert live_repeat(the_incident()) is not None


def test_nobody_need_go_when_the_incident_is_over(watch: Watch) -> None:
    visit = watch.submit_low()
    take_repeat(person=watch.cast.person("volunteer"), incident=the_incident())
    correct(watch.cast, visit, CLEAN_COUNTS)
    assert wanted().state == "cancelled"
    assert [each.to_address for each in mails(kind="volunteer.repeat_over")] == [VERA]


def test_closing_cancels_it_too(watch: Watch) -> None:
    watch.submit_low()
    person = watch.cast.person("coordinator")
    close_incident(incident=the_incident(), person=person, outcome="natural", note="")
    assert wanted().state == "cancelled"
    with pytest.raises(ValidationError, match="over"):
        ask_again(person=person, incident=the_incident())
    with pytest.raises(ValidationError, match="not wanted any more"):
        take_repeat(person=watch.cast.person("volunteer"), incident=the_incident())
