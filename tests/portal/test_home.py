"""Arriving, and the desk of a group."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from portal.accounts.models import Group, Membership, Role
from portal.outbox.models import Attempt
from portal.outbox.services import owe_message
from surveys.services.drafts import start_visit
from surveys.services.questions import answer_by_link, ask_recorder
from surveys.services.review import return_visit
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago, member_of, submit

DESK = "/groups/alder-beck/"


def desk(client: Client, cast: Cast, who: str) -> str:
    client.force_login(getattr(cast, who))
    answer = client.get(DESK)
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_stranger_meets_the_front_door_with_the_groups_that_publish(cast: Cast, client: Client) -> None:
    Group.objects.filter(id=cast.neighbour.id).update(is_public=True)
    page = client.get("/").content.decode()
    assert "Withy Brook Watch" in page
    assert "Alder Beck Watch" not in page


def test_a_member_of_one_group_goes_straight_to_its_desk(cast: Cast, client: Client) -> None:
    client.force_login(cast.volunteer)
    assert client.get("/")["Location"] == DESK


def test_a_member_of_two_groups_chooses(cast: Cast, client: Client) -> None:
    Membership.objects.create(group=cast.neighbour, user=cast.volunteer, role=Role.COORDINATOR)
    client.force_login(cast.volunteer)
    page = client.get("/").content.decode()
    assert DESK in page
    assert "/groups/withy-brook/" in page


def test_somebody_without_a_group_is_told_what_to_do(cast: Cast, client: Client) -> None:
    client.force_login(cast.stranger)
    assert "Ask a coordinator" in client.get("/").content.decode()


def test_the_desk_of_another_group_does_not_exist(cast: Cast, client: Client) -> None:
    client.force_login(cast.neighbour_coordinator)
    assert client.get(DESK).status_code == 404


def test_a_site_never_visited_is_on_the_desk_with_a_way_to_record(cast: Cast, client: Client) -> None:
    page = desk(client, cast, "volunteer")
    assert "AB1 Stepping stones" in page
    assert f"/groups/alder-beck/sites/{cast.site.id}/visits/start/" in page


def test_a_site_visited_yesterday_is_due_later(cast: Cast, client: Client) -> None:
    submit(cast.person("volunteer"), cast.site)
    assert "1 site is due later" in desk(client, cast, "volunteer")


def test_a_coordinator_sees_what_waits_and_a_volunteer_does_not(cast: Cast, client: Client) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    review = f"/groups/alder-beck/visits/{visit.id}/review/"
    assert review in desk(client, cast, "coordinator")
    assert review not in desk(client, cast, "volunteer")


def test_a_returned_visit_waits_for_its_recorder_alone(cast: Cast, client: Client) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    return_visit(person=cast.person("coordinator"), visit=visit, message="Which pool was spot 2?")
    assert "Which pool was spot 2?" in desk(client, cast, "volunteer")
    assert "Which pool was spot 2?" not in desk(client, cast, "other_volunteer")


def test_a_draft_is_its_authors_alone(cast: Cast, client: Client) -> None:
    draft = start_visit(person=cast.person("volunteer"), site=cast.site)
    assert f"/groups/alder-beck/drafts/{draft.id}/" in desk(client, cast, "volunteer")
    assert f"/groups/alder-beck/drafts/{draft.id}/" not in desk(client, cast, "coordinator")


def test_an_undelivered_message_is_said_to_coordinators(cast: Cast, client: Client) -> None:
    message = owe_message(
        key="k", kind="alert", to_address="gone@example.org", subject="s", text="t", group=cast.group
    )
    Attempt.objects.create(message=message, succeeded=False, code=451, answer="later")
    message.attempts_made = 1
    message.save()
    assert "has not reached its reader" in desk(client, cast, "coordinator")
    assert "has not reached its reader" not in desk(client, cast, "volunteer")


def test_a_lapsed_permission_is_said(cast: Cast, client: Client) -> None:
    cast.site.permission_until = timezone.localdate() - timedelta(days=1)
    cast.site.save()
    assert "Permission has run out" in desk(client, cast, "coordinator")


@pytest.mark.parametrize(("who", "ceiling"), [("volunteer", 20), ("coordinator", 15)])
def test_its_queries_do_not_grow_with_the_group(
    cast: Cast, client: Client, who: str, ceiling: int, django_assert_max_num_queries: Any
) -> None:
    client.force_login(getattr(cast, who))
    _fill(cast, sites=1)
    with django_assert_max_num_queries(ceiling) as few:
        client.get(DESK)
    _fill(cast, sites=8)
    with django_assert_max_num_queries(ceiling) as many:
        client.get(DESK)
    assert len(many) == len(few)


def _fill(cast: Cast, sites: int) -> None:
    for _number in range(sites):
        site = SiteFactory(group=cast.group, permission_until=days_ago(3))
        submit(cast.person("volunteer"), site)
        start_visit(person=cast.person("volunteer"), site=site)
        start_visit(person=cast.person("coordinator"), site=site)
        sent_back = submit(cast.person("volunteer"), site, visited_on=days_ago(40).isoformat())
        return_visit(person=cast.person("second_coordinator"), visit=sent_back, message="Look again, please.")


def test_the_desk_says_on_top_how_much_waits_and_approves_from_the_row(cast: Cast, client: Client) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    page = desk(client, cast, "coordinator")
    assert "1 visit to check" in page
    client.post("/groups/alder-beck/review/approve/", {"visit": str(visit.pk), "back": "desk"})
    visit.refresh_from_db()
    assert visit.status == "approved"


def test_a_guest_reviewer_sees_what_waits_and_nothing_else(cast: Cast, client: Client) -> None:
    submit(cast.person("volunteer"), cast.site)
    client.force_login(member_of(cast.group, Role.REVIEWER))
    page = client.get(DESK).content.decode()
    assert "1 visit to check" in page
    assert "Sites to visit" not in page


def test_the_only_coordinator_is_told_how_to_ask_a_guest(cast: Cast, client: Client) -> None:
    assert "Invite a guest reviewer" not in desk(client, cast, "coordinator")
    Membership.objects.of_group(cast.group).filter(user=cast.second_coordinator).update(role=Role.VOLUNTEER)
    assert "Invite a guest reviewer" in desk(client, cast, "coordinator")


def test_a_question_waits_for_the_recorder_and_its_answer_for_the_coordinator(
    cast: Cast, client: Client
) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    question = ask_recorder(person=cast.person("coordinator"), visit=visit, text="Which pool?")
    assert "Which pool?" in desk(client, cast, "volunteer")
    answer_by_link(question=question, text="The lower one.")
    assert "1 answer" in desk(client, cast, "coordinator")
