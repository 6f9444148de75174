"""Pages about people: what they keep of what was typed, and how often they ask the database."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import get_resolver, reverse
from django.utils import timezone

from portal.accounts.models import Group, Membership, User
from portal.audit.services import record_change
from surveys.people.links import ENQUIRY_LINK
from surveys.people.models import EmergencyContact, EnquiryState, EnquiryStep, OtherHours, Permit
from surveys.people.queries import LOOKED
from tests.access.ceilings import CEILINGS
from tests.access.table import TABLE
from tests.access.test_matrix import addresses
from tests.conftest import Cast
from tests.factories import days_ago, member_of, person_for
from tests.people.making import ASKED, enquiry_in, kind_of, membership_of, trained, under_18
from tests.surveys.outings.returning import begin_return

pytestmark = pytest.mark.django_db
PAGES = (
    "own_record",
    "emergency_edit",
    "hours_add",
    "membership_leave",
    "person_detail",
    "guardian_edit",
    "training_record",
    "membership_end",
    "training_list",
    "kind_list",
    "kind_edit",
    "training_withdraw",
    "enquiry_list",
    "enquiry_write",
    "enquiry_detail",
    "former_list",
    "hours_list",
    "enquiry_ask",
    "enquiry_link",
)
OWN = {"own_record", "emergency_edit", "hours_add", "membership_leave"}
OPEN = {"enquiry_ask", "enquiry_link"}


def client_of(user: User | None) -> Client:
    client = Client()
    if user is not None:
        client.force_login(user)
    return client


def filled(cast: Cast, rows: int) -> dict[str, Any]:
    """So many rows of everything; the arguments of the addresses."""
    Group.objects.update(is_public=True)
    own = membership_of(cast.volunteer, cast.group)
    under_18(cast.volunteer, cast.group)
    EmergencyContact.objects.create(membership=own, name="Gwen", phone="01632 960333")
    enquiry = enquiry_in(cast.group, EnquiryState.INVITED, first_site=cast.site, supervisor=cast.coordinator)
    for number in range(rows):
        _row(cast, own, number)
        EnquiryStep.objects.create(enquiry=enquiry, kind="answered", text="Good.")
    training = trained(cast.volunteer, cast.group, trainer=cast.coordinator)
    return {
        "slug": cast.group.slug,
        "membership_id": own.pk,
        "training_id": training.pk,
        "kind_id": training.kind_id,
        "enquiry_id": enquiry.pk,
        "token": ENQUIRY_LINK.make(enquiry.pk),
    }


def _row(cast: Cast, own: Membership, number: int) -> None:
    user = member_of(cast.group)
    kind_of(cast.group, name=f"Kind {number}")
    for each in (user, cast.volunteer):
        trained(each, cast.group, Permit.FIRST_AID, until=days_ago(-20), trainer=cast.coordinator)
    OtherHours.objects.create(membership=own, day=days_ago(number), work="kit", hours=1)
    record_change(actor=person_for(user), verb=LOOKED, thing=own)
    record_change(actor=person_for(user), verb="membership.role", thing=own)
    left = membership_of(member_of(cast.group), cast.group)
    Membership.objects.of_group(cast.group).filter(pk=left.pk).update(left_at=timezone.now())
    for state in (EnquiryState.ASKED, EnquiryState.INVITED, EnquiryState.NOT_NOW, EnquiryState.JOINED):
        enquiry_in(cast.group, state, supervisor=user, first_site=cast.site, membership=left, taken_by=user)


def asked_by(cast: Cast, name: str, world: dict[str, Any]) -> int:
    wanted = dict(addresses(get_resolver("surveys.people.urls")))[name]
    address = reverse(name, kwargs={each: world[each] for each in wanted})
    client = client_of(None if name in OPEN else cast.volunteer if name in OWN else cast.coordinator)
    with CaptureQueriesContext(connection) as seen:
        assert client.get(address).status_code == 200
    return len(seen)


def test_it_watches_every_page_about_people() -> None:
    ours = {name for name, _arguments in addresses(get_resolver("surveys.people.urls"))}
    assert {name for name in ours if "get" in TABLE[name]} == set(PAGES)


def test_no_page_asks_more_for_many_rows_than_for_few(cast: Cast) -> None:
    few = filled(cast, 1)
    asked = {name: asked_by(cast, name, few) for name in PAGES}
    for number in range(1, 9):
        _row(cast, membership_of(cast.volunteer, cast.group), number)
    more = {name: asked_by(cast, name, few) for name in PAGES}
    assert more == asked
    assert {name: asked[name] for name in PAGES if asked[name] > CEILINGS[name]} == {}


class TestWhatWasTyped:
    """A form with mistakes answers 422 with all that was typed, and a word at the field."""

    @pytest.mark.parametrize(
        ("name", "typed", "field"),
        [
            ("enquiry_write", {**ASKED, "email": "newt@"}, "email"),
            ("enquiry_write", {**ASKED, "email": "owen@example.org"}, "email"),
            ("guardian_edit", {"until": "2001-02-03", "guardian_name": "Gwen Brook"}, "until"),
            ("training_record", {"trainer_name": "Tess Example", "trained_on": "someday"}, "trained_on"),
            ("kind_list", {"name": "Wading", "permits": "other", "valid_months": "0"}, "valid_months"),
            ("kind_list", {"name": "SAMPLE", "permits": "other"}, "name"),
            ("kind_edit", {"name": "Wading", "permits": "fly"}, "permits"),
            ("enquiry_answer", {"message": ""}, "message"),
            ("enquiry_invite", {"message": "At nine, at the bridge.", "day": "2001-02-03"}, "site"),
            ("enquiry_decline", {"reason": ""}, "reason"),
            ("training_withdraw", {"reason": ""}, "reason"),
            ("membership_end", {"reason": ""}, "reason"),
        ],
    )
    def test_a_coordinator_s_form(self, cast: Cast, name: str, typed: dict[str, str], field: str) -> None:
        self.check(cast, cast.coordinator, name, typed, field)

    @pytest.mark.parametrize(
        ("name", "typed", "field"),
        [
            ("emergency_edit", {"name": "Gwen Brook", "phone": ""}, "phone"),
            ("hours_add", {"day": "2024-05-07", "work": "kit", "hours": "17", "note": "Nets."}, "hours"),
            ("hours_add", {"day": "2999-05-07", "work": "kit", "hours": "1", "note": "Nets."}, "day"),
            ("membership_leave", {"reason": "I move to the coast."}, "understood"),
        ],
    )
    def test_a_member_s_form(self, cast: Cast, name: str, typed: dict[str, str], field: str) -> None:
        self.check(cast, cast.volunteer, name, {"number": str(uuid4()), **typed}, field)

    def check(self, cast: Cast, user: User, name: str, typed: dict[str, str], field: str) -> None:
        world = filled(cast, 0)
        wanted = dict(addresses(get_resolver("surveys.people.urls")))[name]
        address = reverse(name, kwargs={each: world[each] for each in wanted})
        answer: Any = client_of(user).post(address, typed)
        assert answer.status_code == 422
        page = answer.content.decode()
        assert f'id="id_{field}_error"' in page or f"_{field}_error" in page
        words = [each for key, each in typed.items() if key in ("name", "message", "note", "reason")]
        assert not [each for each in words if each not in page]


def test_a_step_that_cannot_be_is_said_on_the_enquiry_s_page(cast: Cast) -> None:
    enquiry = enquiry_in(cast.group)
    client = client_of(cast.coordinator)
    for name in ("enquiry_came", "enquiry_reopen", "enquiry_offer"):
        answer = client.post(reverse(name, args=[cast.group.slug, enquiry.pk]), {"email": "newt@example.org"})
        assert answer.status_code == 422
        assert "has moved on in the meantime" in answer.content.decode()


def test_whoever_asks_reads_of_the_river_first(cast: Cast) -> None:
    Group.objects.update(is_public=True)
    page = client_of(None).get(reverse("enquiry_ask", args=[cast.group.slug])).content.decode()
    assert "called off if the river is high" in page


def test_an_enquiry_not_yet_confirmed_is_on_no_page(cast: Cast) -> None:
    enquiry = enquiry_in(cast.group, EnquiryState.UNCONFIRMED)
    client = client_of(cast.coordinator)
    assert client.get(reverse("enquiry_detail", args=[cast.group.slug, enquiry.pk])).status_code == 404
    assert "Newt Brook" not in client.get(reverse("enquiry_list", args=[cast.group.slug])).content.decode()


def test_naming_oneself_is_refused_under_18_and_kept_otherwise(cast: Cast) -> None:
    address = reverse("naming_choose", args=[cast.group.slug])
    client = client_of(cast.volunteer)
    client.post(address, {"show_name": "on"})
    assert membership_of(cast.volunteer, cast.group).show_name
    client.post(address)
    under_18(cast.volunteer, cast.group)
    answer = client.post(address, {"show_name": "on"}, follow=True)
    assert "Until you are 18" in answer.content.decode()
    assert not membership_of(cast.volunteer, cast.group).show_name


def test_the_look_at_contacts_asks_a_fixed_number_of_times(cast: Cast) -> None:
    out = begin_return(cast)
    client = client_of(cast.coordinator)
    address = reverse("emergency_look", args=[cast.group.slug, out.pk])
    with CaptureQueriesContext(connection) as few:
        client.post(address)
    for _each in range(8):
        EmergencyContact.objects.create(
            membership=membership_of(member_of(cast.group), cast.group), name="Gwen", phone="1"
        )
    with CaptureQueriesContext(connection) as many:
        client.post(address)
    assert len(many) == len(few)
