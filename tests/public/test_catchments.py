"""Groups of one catchment show each other their approved results, and nobody else's."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client

from portal.accounts.models import Group
from portal.audit.models import AuditEntry
from portal.public.catchments import (
    found_catchment,
    join_catchment,
    leave_catchment,
    set_next_site,
    shares_of,
    sharing_in,
    stations_of,
)
from portal.public.models import Catchment, CatchmentShare
from surveys.errors import NotPossible
from surveys.models.visits import Status
from tests.conftest import Cast
from tests.factories import GroupFactory, SiteFactory, days_ago
from tests.public.test_results import scored

pytestmark = pytest.mark.django_db


@pytest.fixture
def shares(cast: Cast) -> tuple[CatchmentShare, CatchmentShare]:
    """Alder Beck founded the catchment, Withy Brook joined."""
    first = found_catchment(person=cast.person("coordinator"), group=cast.group, name="River Alder")
    word = first.catchment.word
    second = join_catchment(person=cast.person("neighbour_coordinator"), group=cast.neighbour, word=word)
    return first, second


def page(share: CatchmentShare) -> str:
    return f"/public/catchments/{share.catchment_id}/"


def publish(*groups: Group) -> None:
    Group.objects.filter(id__in=[each.id for each in groups]).update(is_public=True)


def text(client: Client, share: CatchmentShare) -> str:
    answer = client.get(page(share))
    assert answer.status_code == 200
    return answer.content.decode()


def test_only_coordinators_share(cast: Cast) -> None:
    with pytest.raises(PermissionDenied):
        found_catchment(person=cast.person("volunteer"), group=cast.group, name="River Alder")


def test_who_has_no_word_joins_nothing(cast: Cast, shares: Any) -> None:
    with pytest.raises(NotPossible):
        join_catchment(person=cast.person("coordinator"), group=cast.group, word="River Alder")
    with pytest.raises(NotPossible):
        join_catchment(person=cast.person("coordinator"), group=cast.group, word=shares[0].catchment.word)


def test_each_step_stands_in_the_trail(cast: Cast, shares: Any) -> None:
    leave_catchment(person=cast.person("neighbour_coordinator"), share=shares[1])
    verbs = AuditEntry.objects.across_groups("test").filter(verb__startswith="catchment.")
    assert list(verbs.order_by("at").values_list("verb", "group")) == [
        ("catchment.shared", cast.group.pk),
        ("catchment.shared", cast.neighbour.pk),
        ("catchment.left", cast.neighbour.pk),
    ]


def test_it_is_for_everybody_only_while_all_groups_publish(cast: Cast, shares: Any, client: Client) -> None:
    publish(cast.group)
    assert client.get(page(shares[0])).status_code == 302
    client.force_login(cast.stranger)
    assert client.get(page(shares[0])).status_code == 404
    client.force_login(cast.neighbour_volunteer)
    assert "Stepping stones" in text(client, shares[0])
    publish(cast.neighbour)
    assert "Stepping stones" in text(Client(), shares[0])


def test_approved_scores_are_shown_and_waiting_ones_are_not(cast: Cast, shares: Any, client: Client) -> None:
    scored(cast, 40, 71)
    scored(cast, 4, 23, status=Status.WAITING)
    client.force_login(cast.neighbour_volunteer)
    found = text(client, shares[0])
    assert ">71<" in found
    assert ">23<" not in found


def test_sites_of_groups_that_do_not_share_never_appear(cast: Cast, shares: Any, client: Client) -> None:
    other = GroupFactory(name="Unshared Watch", is_public=True)
    SiteFactory(group=other, name="Unshared ford", downstream=cast.site)
    publish(cast.group, cast.neighbour)
    assert "Unshared" not in text(client, shares[0])


def test_who_leaves_is_gone_at_once_and_the_word_is_another(cast: Cast, shares: Any, client: Client) -> None:
    publish(cast.group, cast.neighbour)
    old = shares[0].catchment.word
    assert "Withy ford" in text(client, shares[0])
    leave_catchment(person=cast.person("neighbour_coordinator"), share=shares[1])
    assert "Withy ford" not in text(client, shares[0])
    with pytest.raises(NotPossible):
        join_catchment(person=cast.person("neighbour_coordinator"), group=cast.neighbour, word=old)
    leave_catchment(person=cast.person("coordinator"), share=shares_of(cast.group).get())
    assert not Catchment.objects.exists()
    assert client.get(page(shares[0])).status_code in (302, 404)


def test_a_group_does_not_touch_the_share_of_another(cast: Cast, shares: Any, client: Client) -> None:
    client.force_login(cast.coordinator)
    address = f"/groups/{cast.group.slug}/catchments/{shares[1].pk}/leave/"
    assert client.post(address).status_code == 404
    assert CatchmentShare.objects.across_groups("test").count() == 2


def test_sites_stand_in_the_order_of_the_water_across_groups(cast: Cast, shares: Any) -> None:
    top = SiteFactory(group=cast.group, code="AB0", downstream=cast.site)
    set_next_site(person=cast.person("coordinator"), share=shares[0], site=cast.neighbour_site)
    _index, _choice, stations = stations_of(sharing_in(shares[0].catchment_id))
    assert [each.result.site for each in stations] == [top, cast.site, cast.neighbour_site]
    assert [each.into for each in stations] == [1, 2, None]


def test_usual_is_the_median_of_approved_scores_and_the_middle_half_needs_four(cast: Cast, shares: Any) -> None:
    for days, bmwp in ((200, 40), (150, 60), (100, 50)):
        scored(cast, days, bmwp)
    scored(cast, 5_000, 999)
    station = first_station(shares[0].catchment_id)
    assert (station.typical, station.latest, station.low, station.number) == (50, 50, None, 3)
    scored(cast, 50, 80)
    station = first_station(shares[0].catchment_id)
    # Quartiles of 40, 50, 60, 80 by the usual definition for samples, reckoned by hand: 42.5 and 75.
    assert (station.typical, station.latest, station.low, station.high) == (55, 80, 42.5, 75)


def first_station(catchment: UUID) -> Any:
    index, _choice, stations = stations_of(sharing_in(catchment))
    assert index == "bmwp"
    return next(each for each in stations if each.result.site.code == "AB1")


def test_it_takes_four_questions_for_any_number_of_sites(
    cast: Cast, shares: Any, client: Client, django_assert_max_num_queries: Any
) -> None:
    publish(cast.group, cast.neighbour)
    for number in range(8):
        scored(cast, 5, 30 + number, site=SiteFactory(group=cast.group, code=f"C{number}"))
    with django_assert_max_num_queries(3):
        found = text(client, shares[0])
    assert len(found) < 100_000
    assert days_ago(5).strftime("%Y") in found
