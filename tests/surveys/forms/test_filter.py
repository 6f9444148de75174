"""The choices above the list of visits, each alone and together."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.http import QueryDict

from surveys.forms import VisitFilter
from surveys.models import Visit
from tests.conftest import Cast
from tests.factories import SiteFactory, VisitFactory
from tests.surveys.pages import address, signed_in, text_of

pytestmark = pytest.mark.django_db


def found(cast: Cast, query: str) -> list[Visit]:
    chosen = VisitFilter(QueryDict(query), group=cast.group).chosen()
    return list(Visit.objects.of_group(cast.group).filter(chosen).order_by("visited_on"))


@pytest.fixture
def other(cast: Cast) -> Visit:
    """A visit that no choice below fits."""
    return VisitFactory(site=cast.site, visited_on="2020-01-01", recorder=cast.other_volunteer, notes="nothing")


Making = Callable[[Cast], dict[str, Any]]
CHOICES: dict[str, tuple[Making, Callable[[Cast, Visit], str]]] = {
    "river": (
        lambda cast: {"site": SiteFactory(group=cast.group, river="Rush Brook")},
        lambda *_: "river=Rush+Brook",
    ),
    "since": (lambda _cast: {"visited_on": "2024-05-03"}, lambda *_: "since=2024-05-03"),
    "until": (lambda _cast: {"visited_on": "2019-12-31"}, lambda *_: "until=2019-12-31"),
    "recorder": (
        lambda cast: {"recorder": cast.volunteer},
        lambda cast, _visit: f"recorder={cast.volunteer.pk}",
    ),
    "site": (
        lambda cast: {"site": SiteFactory(group=cast.group)},
        lambda _cast, visit: f"site={visit.site_id}",
    ),
    "not made": (lambda _cast: {"was_made": False, "not_made_reason": "dry"}, lambda *_: "status=not_made"),
    "note": (lambda _cast: {"notes": "Grey film at the outfall"}, lambda *_: "text=GREY"),
    "signs": (lambda _cast: {"pollution_signs": "foam"}, lambda *_: "text=foam"),
    "name": (lambda cast: {"recorder": cast.volunteer}, lambda *_: "text=vera"),
    "guest": (lambda _cast: {"partner_name": "Kit Guest"}, lambda *_: "text=guest+kit"),
}


@pytest.mark.parametrize("choice", CHOICES)
def test_each_choice_finds_what_fits_and_nothing_else(cast: Cast, other: Visit, choice: str) -> None:
    making, query = CHOICES[choice]
    fitting: Visit = VisitFactory(**{"site": cast.site, **making(cast)})
    assert found(cast, query(cast, fitting)) == [fitting]
    assert found(cast, "") == sorted([other, fitting], key=lambda visit: str(visit.visited_on))


def test_a_visit_fits_only_if_all_words_stand_in_it_somewhere(cast: Cast) -> None:
    both = VisitFactory(site=cast.site, notes="sheep", pollution_signs="foam")
    VisitFactory(site=cast.site, notes="sheep")
    assert found(cast, "text=foam+sheep") == [both]


def test_choices_add_up(cast: Cast) -> None:
    fitting = VisitFactory(site=cast.site, visited_on="2024-05-03", notes="foam")
    VisitFactory(site=cast.site, visited_on="2024-05-03")
    VisitFactory(site=cast.site, visited_on="2023-05-03", notes="foam")
    assert found(cast, "text=foam&since=2024-01-01") == [fitting]


@pytest.mark.parametrize(
    "query", ["since=soon", "river=Nowhere", "recorder=1", "recording_list=x", "text=" + "x" * 81]
)
def test_a_choice_that_cannot_be_read_is_passed_over(cast: Cast, other: Visit, query: str) -> None:
    assert found(cast, query) == [other]


def test_a_sign_of_the_databases_own_search_is_searched_as_it_stands(cast: Cast, other: Visit) -> None:
    full = VisitFactory(site=cast.site, notes="100% covered")
    assert found(cast, "text=100%25") == [full]


def test_names_of_another_groups_recorders_are_not_offered(cast: Cast) -> None:
    VisitFactory(site=cast.neighbour_site, recorder=cast.neighbour_volunteer)
    page = text_of(signed_in(cast.volunteer).get(address("visit_list", cast.group)))
    assert "Noel Example" not in page


def test_folded_choices_stand_open_while_one_is_in_use(cast: Cast) -> None:
    assert not VisitFilter(QueryDict("year=2024"), group=cast.group).unfolded
    assert VisitFilter(QueryDict("text=foam"), group=cast.group).unfolded
    page = signed_in(cast.volunteer).get(address("visit_list", cast.group), {"text": "foam"}).content.decode()
    assert '<details class="filter__more" open>' in page
