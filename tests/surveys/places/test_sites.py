"""Adding and changing sites."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.http import Http404

from portal.audit.services import history_of
from surveys.models import RecordingList, Site
from surveys.services.sites import save_site
from tests.conftest import Cast
from tests.factories import SiteFactory, family_list


def fields(**changes: Any) -> dict[str, Any]:
    usual = {
        "code": "AB7",
        "name": "Old ford",
        "river": "Alder Beck",
        "latitude": 54.5,
        "longitude": -2.4,
        "recording_list": family_list(),
    }
    return usual | changes


def save(cast: Cast, site: Site | None = None, *, by: str = "coordinator", **changes: Any) -> Site:
    values = changes if site else fields(**changes)
    return save_site(person=cast.person(by), group=cast.group, site=site, fields=values)


def wrong_fields(cast: Cast, site: Site | None = None, **changes: Any) -> set[str]:
    with pytest.raises(ValidationError) as refused:
        save(cast, site, **changes)
    return set(refused.value.message_dict)


def test_it_adds_a_site_with_the_standard_effort(cast: Cast) -> None:
    site = save(cast)
    site.refresh_from_db()
    assert (site.group, site.spots, site.kicks_per_spot, site.seconds_per_kick) == (cast.group, 3, 3, 10)
    assert site.planned_seconds == 90


def test_it_writes_down_what_changed(cast: Cast) -> None:
    site = save(cast)
    save(cast, site, name="New ford", hazards="Slippery weir.")
    created, changed = history_of(site, cast.group)
    assert created.verb == "site.created"
    assert created.changes["code"] == [None, "AB7"]
    assert created.changes["recording_list"] == [None, "Families of the BMWP table"]
    assert (changed.verb, changed.actor) == ("site.changed", cast.coordinator)
    assert changed.changes == {"name": ["Old ford", "New ford"], "hazards": ["", "Slippery weir."]}


def test_it_writes_nothing_down_when_nothing_changed(cast: Cast) -> None:
    site = save(cast)
    save(cast, site, name="Old ford")
    assert history_of(site, cast.group).count() == 1


def test_it_refuses_volunteers_and_strangers(cast: Cast) -> None:
    with pytest.raises(PermissionDenied):
        save(cast, by="volunteer")
    with pytest.raises(Http404):
        save(cast, by="neighbour_coordinator")
    with pytest.raises(PermissionDenied):
        save(cast, cast.site, by="volunteer", name="Mine")


@pytest.mark.parametrize(
    ("field", "value"),
    [("latitude", 91), ("longitude", -181), ("spots", 0), ("kicks_per_spot", 0), ("seconds_per_kick", 0),
     ("code", ""), ("name", ""), ("visit_interval_days", 0)],
)  # fmt: skip
def test_it_names_the_field_that_is_wrong(cast: Cast, field: str, value: Any) -> None:
    assert field in wrong_fields(cast, **{field: value})


def test_it_refuses_a_code_used_twice(cast: Cast) -> None:
    with pytest.raises(ValidationError):
        save(cast, code=cast.site.code)
    assert save(cast, code=cast.neighbour_site.code).group == cast.group


def test_it_takes_only_own_sites_downstream(cast: Cast) -> None:
    assert wrong_fields(cast, downstream=cast.neighbour_site) == {"downstream"}
    assert save(cast, downstream=cast.site).downstream == cast.site


def test_it_lets_no_water_run_in_a_circle(cast: Cast) -> None:
    lower = SiteFactory(group=cast.group, code="AB2")
    upper = SiteFactory(group=cast.group, code="AB3", downstream=lower)
    assert wrong_fields(cast, lower, downstream=upper) == {"downstream"}


def test_a_circle_that_another_began_meanwhile_is_seen(cast: Cast) -> None:
    lower, upper = SiteFactory(group=cast.group, code="AB2"), SiteFactory(group=cast.group, code="AB3")
    read_before = Site.objects.of_group(cast.group).get(pk=upper.pk)
    save(cast, upper, downstream=lower)
    assert wrong_fields(cast, lower, downstream=read_before) == {"downstream"}


def test_what_another_changed_meanwhile_stays(cast: Cast) -> None:
    read_before = Site.objects.of_group(cast.group).get(pk=cast.site.pk)
    save(cast, cast.site, hazards="A fallen tree.")
    save(cast, read_before, name="New ford")
    site = Site.objects.of_group(cast.group).get(pk=cast.site.pk)
    assert (site.name, site.hazards) == ("New ford", "A fallen tree.")


def test_it_is_the_database_too_that_refuses_a_site_below_itself(cast: Cast) -> None:
    cast.site.downstream = cast.site
    with pytest.raises(IntegrityError, match="site_not_its_own_downstream"), transaction.atomic():
        cast.site.save()


def test_it_takes_only_own_or_built_in_lists(cast: Cast) -> None:
    theirs = RecordingList.objects.create(group=cast.neighbour, slug="theirs", name="Theirs", level="group")
    own = RecordingList.objects.create(group=cast.group, slug="own", name="Own", level="group")
    assert wrong_fields(cast, recording_list=theirs) == {"recording_list"}
    assert save(cast, recording_list=own).recording_list == own


@pytest.mark.parametrize(
    ("first", "last"), [("opened_on", "closed_on"), ("permission_from", "permission_until")]
)
def test_it_refuses_an_end_before_its_start(cast: Cast, first: str, last: str) -> None:
    period: dict[str, Any] = {first: date(2026, 5, 2), last: date(2026, 5, 1)}
    wrong = wrong_fields(cast, **period)
    assert wrong == {last}


def test_it_leaves_the_site_as_it_was_when_something_is_wrong(cast: Cast) -> None:
    wrong_fields(cast, cast.site, name="")
    cast.site.refresh_from_db()
    assert cast.site.name == "Stepping stones"
    assert not history_of(cast.site, cast.group).exists()


def test_it_knows_when_a_permission_has_lapsed() -> None:
    site = Site(permission_until=date(2026, 5, 1))
    assert not site.permission_lapsed(date(2026, 5, 1))
    assert site.permission_lapsed(date(2026, 5, 2))
    assert not Site().permission_lapsed(date(2026, 5, 2))
