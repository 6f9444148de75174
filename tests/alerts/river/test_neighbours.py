"""The sites about a low visit as the database has them, and the river drawn from them."""

from __future__ import annotations

from typing import Any

import pytest
from django.test.utils import CaptureQueriesContext

from alerts.models import Verdict
from alerts.river.neighbours import FOLLOW_UP, river_sites
from alerts.river.shown import River, river_drawing
from scoring.indices.methods import METHODS
from surveys.models import Site, Visit
from tests.alerts.conftest import Watch, approved_visit, set_level, the_incident
from tests.factories import SiteFactory, days_ago, submit

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(watch: Watch) -> Visit:
    return watch.submit_low()


def site_above(watch: Watch, name: str, lower: Site | None = None, **fields: Any) -> Site:
    return SiteFactory(
        group=watch.cast.group, code=name[:8], name=name, downstream=lower or watch.site, **fields
    )


def stood(watch: Watch, site: Site, outcome: str, ago: int, value: float = 40) -> Visit:
    """A visit of that many days ago, judged against the site's own trigger."""
    made = approved_visit(site, watch.cast.coordinator, watch.cast.other_volunteer, days_ago(ago), bmwp=value)
    trigger = site.triggers.first() or set_level(site, watch.cast.coordinator)
    Verdict.objects.create(group=site.group, visit=made, trigger=trigger, outcome=outcome, value=value)
    return made


def the_river() -> River:
    river = river_drawing(the_incident())
    assert river is not None
    return river


def test_it_draws_sites_up_and_down_with_latest_scores_and_the_stretch_between(
    watch: Watch, visit: Visit
) -> None:
    up = site_above(watch, "Weir head")
    stood(watch, up, "not_below", 40, value=39)
    stood(watch, up, "not_below", 3, value=44)
    watch.site.downstream = SiteFactory(group=watch.cast.group, code="Z1", name="Old mill")
    watch.site.save()
    river = the_river()
    assert [(each.name, each.state, each.into) for each in river.places] == [
        ("Weir head", "normal", 1),
        (watch.site.name, "below", 2),
        ("Old mill", "unscored", None),
    ]
    assert [each.in_stretch for each in river.places] == [True, False, False]
    assert river.places[0].score == "BMWP 44"
    assert river.words == [
        "The cause most likely lies between Weir head, which was normal when last visited, and "
        f"{watch.site.name}."
    ]
    assert river.words[0] in river.drawing()


def test_it_draws_nothing_beyond_a_normal_site(watch: Watch, visit: Visit) -> None:
    up = site_above(watch, "Weir head")
    stood(watch, up, "not_below", 3)
    stood(watch, site_above(watch, "Far up", up), "below", 3)
    assert "Far up" not in the_river().drawing()


def test_it_goes_up_through_a_low_site(watch: Watch, visit: Visit) -> None:
    up = site_above(watch, "Weir head")
    stood(watch, up, "below", 3, value=9)
    stood(watch, site_above(watch, "Far up", up), "not_below", 3)
    river = the_river()
    assert [each.in_stretch for each in river.places] == [True, False, False]
    assert river.words[0].startswith("Weir head, further up, was low too.")


def test_it_takes_visits_of_two_weeks_after_the_low_one_and_no_later(watch: Watch) -> None:
    visit = watch.submit_low(visited_on=days_ago(20).isoformat())
    up = site_above(watch, "Weir head")
    stood(watch, up, "not_below", 20 - FOLLOW_UP.days, value=41)
    stood(watch, up, "below", 20 - FOLLOW_UP.days - 1, value=9)
    assert river_sites(visit, METHODS["bmwp"]).here.above[0].score == "41"


def test_it_shows_the_low_visit_itself_whatever_came_later(watch: Watch) -> None:
    visit = watch.submit_low(visited_on=days_ago(20).isoformat())
    watch.submit_clean()
    assert river_sites(visit, METHODS["bmwp"]).here.is_low


def test_it_says_untested_of_a_site_without_a_trigger(watch: Watch, visit: Visit) -> None:
    up = site_above(watch, "Weir head")
    submit(watch.cast.person("volunteer"), up, visited_on=days_ago(3).isoformat())
    (above,) = river_sites(visit, METHODS["bmwp"]).here.above
    assert (above.state, above.score, above.state_words) == ("untested", "48", "not tested")


def test_it_shows_the_score_that_a_site_is_held_against(watch: Watch, visit: Visit) -> None:
    up = site_above(watch, "Weir head")
    set_level(up, watch.cast.coordinator, level=4.5, index="aspt")
    stood(watch, up, "not_below", 3, value=5.1)
    (above,) = river_sites(visit, METHODS["bmwp"]).here.above
    assert (above.index, above.score) == ("ASPT", "5.10")


def test_it_says_of_an_old_visit_that_it_is_old(watch: Watch, visit: Visit) -> None:
    stood(watch, site_above(watch, "Weir head"), "not_below", 200)
    (above,) = river_sites(visit, METHODS["bmwp"]).here.above
    assert above.state_words == "normal, but old"
    assert "The visit to Weir head is old: 199 days before the low one." in the_river().cautions


def test_it_puts_the_rivers_own_site_before_what_joins_it(watch: Watch, visit: Visit) -> None:
    site_above(watch, "A side stream", river="Copper Beck")
    site_above(watch, "Weir head", river=watch.site.river)
    above = river_sites(visit, METHODS["bmwp"]).here.above
    assert [each.site.name for each in above] == ["Weir head", "A side stream"]


def test_it_ends_where_the_river_was_made_to_flow_in_a_ring(watch: Watch, visit: Visit) -> None:
    up = site_above(watch, "Weir head")
    watch.site.downstream = up
    watch.site.save()
    assert [each.name for each in the_river().places] == ["Weir head", watch.site.name]


def test_it_knows_no_site_of_another_group(watch: Watch, visit: Visit) -> None:
    Site.objects.filter(group=watch.cast.neighbour, pk=watch.cast.neighbour_site.pk).update(
        downstream=watch.site
    )
    assert the_river().sites == []


def test_it_names_no_stretch_once_the_visit_is_not_low_any_more(watch: Watch, visit: Visit) -> None:
    Verdict.objects.filter(group=visit.group, visit=visit).update(outcome="not_below")
    river = the_river()
    assert (river.words, river.cautions) == ([], [])
    assert not any(each.opens_up or each.in_stretch for each in river.places)


def test_it_asks_once_however_many_sites_there_are(
    watch: Watch, visit: Visit, django_assert_num_queries: Any
) -> None:
    lower = watch.site
    for number in range(8):
        lower = site_above(watch, f"{number} up", lower)
        stood(watch, lower, "below", 3)
    visit = Visit.objects.select_related("site").get(group=visit.group_id, pk=visit.pk)
    with django_assert_num_queries(1) as asked:
        found = river_sites(visit, METHODS["bmwp"])
    assert isinstance(asked, CaptureQueriesContext)
    assert found.here.above[0].above


def test_it_has_no_river_for_an_incident_without_a_visit(watch: Watch, visit: Visit) -> None:
    the_incident().visits.clear()
    assert river_drawing(the_incident()) is None
