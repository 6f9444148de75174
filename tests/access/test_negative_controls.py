"""Take out one guard after the other: the matrix must report a wrong cell each time, else it guards nothing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.backends import ModelBackend
from django.http import Http404
from django.urls import reverse

from portal.accounts import access, middleware, pages
from portal.accounts.access import ACTIONS, Person, require
from portal.accounts.models import Group, Membership, User
from portal.accounts.queries import person_of
from portal.accounts.scoping import GroupOwnedQuerySet
from portal.accounts.walls import wide
from surveys.api import base
from tests.access import scene
from tests.access.table import TABLE
from tests.access.test_matrix import (
    answers_to_a_foreign_site,
    opened_by_the_neighbours_slug,
    signed_in,
    wrong_cells,
)
from tests.access.world import World
from tests.conftest import Cast
from tests.factories import submit

once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world


@dataclass(frozen=True)
class Control:
    """Who notices at which addresses that a rule is gone.

    `behind` are rules asked before it at the same address: they are taken out beforehand, and the rule in
    question must then hold by itself. So with the check of `group_for`, which knows one's own groups only.
    """

    role: str
    addresses: tuple[str, ...]
    behind: tuple[str, ...] = ()
    group_open: bool = False


def control(role: str, *addresses: str, behind: tuple[str, ...] = (), group_open: bool = False) -> Control:
    return Control(role, addresses, behind, group_open)


CONTROLS = {
    "desk.view": control("neighbour", "group_desk", group_open=True),
    "group.view": control("neighbour", "incident_list", "api_sites", group_open=True),
    "group.edit": control("volunteer", "group_edit"),
    "group.trail": control("volunteer", "group_trail"),
    "people.view": control("neighbour", "people_list", group_open=True),
    "people.manage": control("volunteer", "invitation_send", "invitation_revoke", "membership_change"),
    "factor.reset": control("volunteer", "factor_reset", behind=("people.manage",)),
    "enquiry.write": control("neighbour", "enquiry_write", group_open=True),
    "enquiry.manage": control("volunteer", "enquiry_list", "enquiry_answer", "enquiry_offer"),
    "training.manage": control("volunteer", "training_list", "training_record", "kind_edit"),
    "emergency.look": control("neighbour", "emergency_look", behind=("group.view",), group_open=True),
    "site.view": control("neighbour", "site_list", "site_detail", group_open=True),
    "site.edit": control("volunteer", "site_create", "site_edit", "permission_renew"),
    "list.manage": control("volunteer", "list_create", "list_edit", "list_retire"),
    "visit.rescore": control("volunteer", "rescore_list"),
    "trigger.set": control("volunteer", "trigger_set"),
    "contact.manage": control("volunteer", "contact_list", "contact_edit", "site_contacts"),
    "visit.submit": control("neighbour", "visit_start", group_open=True),
    "visit.view": control("neighbour", "visit_list", "visit_detail", group_open=True),
    "visit.mend": control("coordinator", "visit_mend"),
    "draft.edit": control("coordinator", "visit_submit", "draft_discard"),
    "visit.review": control("volunteer", "review_queue", "visit_review"),
    "visit.correct": control("volunteer", "visit_correct", behind=("visit.review",)),
    "question.ask": control("volunteer", "visit_ask", behind=("visit.review",)),
    "question.answer": control("coordinator", "question_answer"),
    "visit.return": control("involved", "visit_return"),
    "visit.approve": control("involved", "visit_approve", "finding_decide"),
    "visit.test_anyway": control("involved", "visit_test_anyway"),
    "incident.view": control("neighbour", "incident_detail", "incident_photo"),
    "incident.acknowledge": control("volunteer", "incident_acknowledge"),
    "incident.note": control("volunteer", "incident_note"),
    "incident.close": control("volunteer", "incident_close"),
    "import.run": control("volunteer", "import_visits", "import_check", "import_load"),
    "export.run": control("neighbour", "export_make", group_open=True),
    "archive.make": control("volunteer", "archive_make", "publishing_terms"),
    "catchment.share": control("volunteer", "catchment_found", "catchment_edit", "catchment_leave"),
    "job.view": control("volunteer", "job_detail", "job_progress", "job_file"),
    "job.stop": control("volunteer", "job_stop"),
    "report.view": control("neighbour", "report_list", group_open=True),
    "report.make": control(
        "volunteer", "report_list", "report_detail", "report_publish", "report_words", "report_picture"
    ),
    "outbox.view": control("volunteer", "message_list"),
    "outbox.retry": control("volunteer", "messages_retry"),
    "outing.edit": control("volunteer", "outing_rules_edit"),
    "kit.view": control("neighbour", "kit_list", "kit_detail", group_open=True),
    "kit.manage": control("volunteer", "kit_create", "kit_edit"),
    "kit.clean": control("neighbour", "kit_clean", group_open=True),
    "river.report": control("neighbour", "river_report", group_open=True),
    "return.start": control("neighbour", "safe_return_start", group_open=True),
    "return.view": control("neighbour", "safe_return_detail", behind=("group.view",), group_open=True),
    "return.end": control("neighbour", "safe_return_end", behind=("group.view",), group_open=True),
    "return.extend": control("coordinator", "safe_return_extend"),
    "visit.add_photo": control("neighbour", "api_visit_photo", behind=("group.view",), group_open=True),
    "incident.forward": control("volunteer", "incident_forward"),
    "repeat.ask": control("volunteer", "repeat_ask"),
    "rota.view": control("neighbour", "rota_page", "availability_edit", group_open=True),
    "rota.plan": control("volunteer", "rota_draft", "rota_publish", "visit_move", "place_take_off"),
    "rota.answer": control("coordinator", "place_accept", "cover_take"),
}


# No address of their own: they hide a part of a page, which the tests of that part look for.
HIDING_A_PART = {"visit.see_position"}


def without_rules(patch: pytest.MonkeyPatch, actions: Iterable[str]) -> None:
    """Everybody who is signed in may do these."""
    gone = {each: replace(ACTIONS[each], rule=lambda _person, _thing: True) for each in actions}
    patch.setattr(access, "ACTIONS", MappingProxyType(dict(ACTIONS) | gone))


def with_group_for(patch: pytest.MonkeyPatch, found: Any) -> None:
    for place in (pages, base):
        patch.setattr(place, "group_for", found)


def without_filter(patch: pytest.MonkeyPatch, name: str) -> None:
    """Rows of all groups, whichever is named."""
    patch.setattr(GroupOwnedQuerySet, name, lambda rows, _whose: rows.across_groups("the filter is gone"))
    # A statement that is kept has the filter, or would go without it afterwards.
    patch.setattr(settings, "KEEPS_STATEMENTS", False)


def without_wall(patch: pytest.MonkeyPatch) -> None:
    """The database gives out every group's rows, so that the views alone keep them apart."""
    patch.setattr(middleware, "closed", lambda: wide("the second wall is down"))


@pytest.fixture(autouse=True)
def _first_wall_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is taken out here is a part of the first wall; the second, in test_second_wall.py, would hide it."""
    without_wall(monkeypatch)


def any_group(person: Person, slug: str, action: str = "group.view") -> Group:
    """As `group_for`, but of any group and not only one's own; the rule is still asked."""
    group = Group.objects.filter(slug=slug).first()
    if group is None:
        raise Http404
    require(person, action, group)
    return group


def reported(world: World, role: str, addresses: Iterable[str]) -> set[str]:
    """The addresses at which the matrix finds anything wrong, by the methods that they take."""
    return {name for name in addresses if wrong_cells(world, role, name, sorted(TABLE[name]))}


def test_there_is_a_control_for_every_right() -> None:
    assert set(CONTROLS) | HIDING_A_PART == set(ACTIONS)


@pytest.mark.parametrize("action", sorted(CONTROLS))
def test_the_matrix_reports_a_rule_that_is_gone(
    world: World, action: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried = CONTROLS[action]
    if tried.group_open:
        with_group_for(monkeypatch, any_group)
    with monkeypatch.context() as patch:
        without_rules(patch, tried.behind)
        assert reported(world, tried.role, tried.addresses) == set(), "the rule in question holds by itself"
    with monkeypatch.context() as patch:
        without_rules(patch, (*tried.behind, action))
        assert reported(world, tried.role, tried.addresses) == set(tried.addresses)


def test_a_position_shows_when_its_rule_is_gone(
    world: World, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = {"position": "54.50012 N, 2.50012 W", "position_source": "typed"}
    visit = submit(cast.person("volunteer"), cast.site, **place)
    url = reverse("visit_detail", args=[cast.group.slug, visit.pk])
    client = signed_in(world, "volunteer")
    client.force_login(cast.other_volunteer)
    assert "54.50012" not in client.get(url).content.decode()
    without_rules(monkeypatch, HIDING_A_PART)
    assert "54.50012" in client.get(url).content.decode()


def test_the_matrix_reports_a_group_check_that_is_gone(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    addresses = ("group_desk", "site_list", "review_queue", "message_list", "report_list", "api_sites")
    assert reported(world, "neighbour", addresses) == set()
    with_group_for(monkeypatch, lambda _person, slug, _action="": Group.objects.get(slug=slug))
    assert reported(world, "neighbour", addresses) == set(addresses)


def test_the_matrix_reports_records_that_are_looked_up_in_all_groups(
    world: World, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One's own slug with a foreign number; the right that is asked of the record itself is gone as well."""
    addresses = ("site_edit", "contact_edit", "trigger_set", "import_detail", "report_detail", "photo_file")
    without_rules(monkeypatch, ACTIONS)
    assert [cell for name in addresses for cell in opened_by_the_neighbours_slug(world, cast, name)] == []
    without_filter(monkeypatch, "of_group")
    assert all(opened_by_the_neighbours_slug(world, cast, name) for name in addresses)


def test_the_matrix_reports_that_a_foreign_site_can_be_told_from_none(
    world: World, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The view looks in the group of the address, the service among the sites the person can see."""
    without_filter(monkeypatch, "of_group")
    foreign, unknown = answers_to_a_foreign_site(world, cast)
    assert foreign[0] == unknown[0], "the service holds by itself"
    without_filter(monkeypatch, "visible_to")
    foreign, unknown = answers_to_a_foreign_site(world, cast)
    assert foreign[0] != unknown[0]


def test_the_matrix_reports_a_require_that_lets_everybody_through(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    addresses = ("group_edit", "trigger_set", "incident_close", "visit_mend")
    roles = ("volunteer", "volunteer", "volunteer", "coordinator")
    pairs = list(zip(roles, addresses, strict=True))
    assert [reported(world, role, [name]) for role, name in pairs] == [set()] * len(pairs)
    monkeypatch.setattr(access, "allowed", lambda person, _action, _thing: person.is_signed_in)
    assert [reported(world, role, [name]) for role, name in pairs] == [{name} for name in addresses]


def test_the_matrix_reports_that_a_stranger_learns_of_a_record(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(access, "_knows_of", lambda _person, _thing: True)
    assert wrong_cells(world, "neighbour", "incident_detail", ["get"]) == [
        "get incident_detail as neighbour: 403, not 404"
    ]


def test_the_matrix_reports_somebody_who_left_and_still_comes_in(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    addresses = ("group_desk", "visit_list", "review_queue")
    assert reported(world, "former", addresses) == set()

    def person_of_all_times(user: User) -> Person:
        held = Membership.objects.across_groups("those who left as well").filter(user=user.pk)
        roles = {each.group_id: each.role for each in held}
        return replace(person_of(user), roles=roles, memberships=tuple(held))

    monkeypatch.setattr(middleware, "person_of", person_of_all_times)
    assert reported(world, "former", addresses) == set(addresses)


def test_the_matrix_reports_a_closed_account_that_stays_signed_in(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ModelBackend, "user_can_authenticate", lambda _self, _user: True)
    assert reported(world, "inactive", ["group_desk", "contact_incidents"]) == {
        "group_desk",
        "contact_incidents",
    }


def test_the_matrix_reports_an_address_that_asks_nobody_to_sign_in(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the table calls open is not what it calls members': the same page, held against the wrong row."""
    monkeypatch.setitem(TABLE, "group_desk", TABLE["public_group"])
    assert reported(world, "nobody", ["group_desk"]) == {"group_desk"}
    monkeypatch.setitem(TABLE, "public_group", TABLE["people_list"])
    assert reported(world, "nobody", ["public_group"]) == {"public_group"}
