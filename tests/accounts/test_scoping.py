"""No row without a tenant: a query that names neither group nor person is refused."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db.models import Count, Q

from portal.accounts.access import NOBODY
from portal.accounts.models import Membership
from portal.accounts.scoping import UnscopedQuery
from surveys.models import Site, TaxonCount, Visit
from tests.conftest import Cast
from tests.factories import SiteFactory, TaxonCountFactory, VisitFactory

RUNS: dict[str, Callable[[Any], Any]] = {
    "list": list,
    "first": lambda rows: rows.first(),
    "get": lambda rows: rows.get(),
    "len": len,
    "bool": bool,
    "slice": lambda rows: list(rows[:1]),
    "values": lambda rows: list(rows.values("pk")),
    "values_list": lambda rows: list(rows.values_list("pk", flat=True)),
    "count": lambda rows: rows.count(),
    "exists": lambda rows: rows.exists(),
    "aggregate": lambda rows: rows.aggregate(number=Count("pk")),
    "iterator": lambda rows: list(rows.iterator()),
    "update": lambda rows: rows.update(name="x"),
    "delete": lambda rows: rows.delete(),
    "in_bulk": lambda rows: rows.in_bulk(),
    "last": lambda rows: rows.last(),
    "latest": lambda rows: rows.latest("created_at"),
    "get_or_create": lambda rows: rows.get_or_create(code="AB1"),
    "or": lambda rows: list(Site.objects.none() | rows),
    "union": lambda rows: list(rows.union(rows)),
}


@pytest.mark.parametrize("way", RUNS)
def test_it_refuses_every_way_of_running_an_unscoped_query(cast: Cast, way: str) -> None:
    with pytest.raises(UnscopedQuery, match="name a group or a person"):
        RUNS[way](Site.objects.all())


@pytest.mark.parametrize(
    "narrow",
    [
        lambda cast: Site.objects.filter(code="AB1"),
        lambda cast: Site.objects.filter(pk=cast.site.pk),
        lambda cast: Site.objects.exclude(group=cast.neighbour),
        lambda cast: Site.objects.filter(Q(group=cast.group) | Q(code="WB1")),
        lambda cast: Site.objects.filter(~Q(group=cast.neighbour)),
        lambda cast: Site.objects.filter(group__slug="alder-beck"),
        lambda cast: Site.objects.filter(group__isnull=False),
        lambda cast: Site.objects.order_by("group"),
        lambda cast: TaxonCount.objects.filter(taxon="Baetidae"),
    ],
)
def test_it_refuses_conditions_that_do_not_pin_a_group(cast: Cast, narrow: Callable[[Cast], Any]) -> None:
    with pytest.raises(UnscopedQuery):
        list(narrow(cast))


@pytest.mark.parametrize(
    "scoped",
    [
        lambda cast: Site.objects.of_group(cast.group),
        lambda cast: Site.objects.filter(group=cast.group),
        lambda cast: Site.objects.filter(group_id=cast.group.pk),
        lambda cast: Site.objects.filter(group__in=[cast.group]),
        lambda cast: Site.objects.filter(Q(group=cast.group) & Q(code="AB1")),
        lambda cast: Site.objects.filter(code="AB1").of_group(cast.group),
        lambda cast: Site.objects.visible_to(cast.person("volunteer")),
        lambda cast: cast.group.sites.all(),
    ],
)
def test_it_runs_what_names_a_group_or_a_person(cast: Cast, scoped: Callable[[Cast], Any]) -> None:
    assert list(scoped(cast)) == [cast.site]


@pytest.mark.parametrize("join", [lambda own, others: own | others, lambda own, others: own.union(others)])
def test_it_lets_no_unscoped_query_ride_along(cast: Cast, join: Callable[[Any, Any], Any]) -> None:
    own = Site.objects.of_group(cast.group)
    with pytest.raises(UnscopedQuery):
        join(own, Site.objects.all())
    assert set(join(own, Site.objects.of_group(cast.neighbour))) == {cast.site, cast.neighbour_site}


def test_it_stays_scoped_through_further_steps(cast: Cast) -> None:
    rows = Site.objects.of_group(cast.group).filter(code="AB1").exclude(name="x").order_by("name")
    assert rows.count() == 1
    assert rows.exists()
    assert [site.pk for site in rows.iterator()] == [cast.site.pk]
    assert rows.update(name="Renamed") == 1


def test_it_shows_a_person_all_their_groups_and_no_other(cast: Cast) -> None:
    from tests.factories import MembershipFactory

    SiteFactory()
    assert list(Site.objects.visible_to(cast.person("volunteer"))) == [cast.site]
    MembershipFactory(group=cast.neighbour, user=cast.volunteer)
    assert set(Site.objects.visible_to(cast.person("volunteer"))) == {cast.site, cast.neighbour_site}


def test_it_shows_nothing_to_nobody_and_to_strangers(cast: Cast) -> None:
    assert not Site.objects.visible_to(NOBODY).exists()
    assert not Site.objects.visible_to(cast.person("stranger")).exists()


def test_it_shows_nothing_to_whoever_has_left(cast: Cast) -> None:
    Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(left_at="2026-01-01T00:00Z")
    assert not Site.objects.visible_to(cast.person("volunteer")).exists()


def test_it_reaches_children_through_their_parent(cast: Cast) -> None:
    own = TaxonCountFactory(visit=VisitFactory(site=cast.site))
    TaxonCountFactory(visit=VisitFactory(site=cast.neighbour_site))
    assert list(TaxonCount.objects.of_group(cast.group)) == [own]
    assert list(TaxonCount.objects.visible_to(cast.person("volunteer"))) == [own]
    assert list(own.visit.counts.all()) == [own]
    with pytest.raises(UnscopedQuery):
        TaxonCount.objects.count()


def test_it_crosses_groups_only_with_a_reason(cast: Cast) -> None:
    assert Site.objects.across_groups("a test counts every row").count() == 2
    with pytest.raises(ValueError, match="Say why"):
        Site.objects.across_groups("")


def test_it_lets_related_rows_of_one_visit_be_prefetched(cast: Cast) -> None:
    TaxonCountFactory(visit=VisitFactory(site=cast.site))
    visit = Visit.objects.of_group(cast.group).prefetch_related("counts", "spots").get()
    assert len(visit.counts.all()) == 1


def test_it_lets_an_empty_query_be_empty(cast: Cast) -> None:
    assert list(Site.objects.none()) == []
