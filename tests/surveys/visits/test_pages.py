"""Visits on their pages: the list with its choices, and all that is known of one."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any
from uuid import uuid4

import pytest
from django.http import QueryDict

from surveys.forms import VisitFilter
from surveys.models import Visit
from surveys.overviews import VISITS_PER_PAGE
from surveys.services.review import approve_visit, return_visit
from tests.conftest import Cast
from tests.factories import MembershipFactory, SiteFactory, VisitFactory, days_ago, submit
from tests.surveys.pages import address, signed_in, text_of

QueryCeiling = Callable[..., AbstractContextManager[Any]]
LIST_QUERIES = 13
DETAIL_QUERIES = 7


def list_of(cast: Cast, **choices: str) -> Any:
    return signed_in(cast.volunteer).get(address("visit_list", cast.group), choices)


def shown(answer: Any) -> list[Visit]:
    return list(answer.context["page"].object_list)


class TestList:
    def test_it_lists_the_groups_visits_newest_first(self, cast: Cast) -> None:
        old = submit(cast.person("volunteer"), cast.site, visited_on=days_ago(90).isoformat())
        new = submit(cast.person("volunteer"), cast.site, visited_on=days_ago(3).isoformat())
        submit(cast.person("neighbour_volunteer"), cast.neighbour_site)
        assert shown(list_of(cast)) == [new, old]

    def test_it_chooses_by_site_year_and_status(self, cast: Cast) -> None:
        other_site = SiteFactory(group=cast.group)
        visit = VisitFactory(site=cast.site, visited_on="2024-05-03")
        VisitFactory(site=other_site, visited_on="2024-05-03")
        VisitFactory(site=cast.site, visited_on="2025-05-03")
        VisitFactory(site=cast.site, visited_on="2024-06-03", status="returned")
        assert shown(list_of(cast, site=str(cast.site.pk), year="2024", status="waiting")) == [visit]

    def test_it_chooses_the_visits_that_were_not_made(self, cast: Cast) -> None:
        VisitFactory(site=cast.site)
        gap = VisitFactory(site=cast.site, was_made=False, not_made_reason="illness")
        answer = list_of(cast, status="not_made")
        assert shown(answer) == [gap]
        assert "Not made: illness" in text_of(answer)

    def test_it_passes_over_a_choice_that_does_not_exist(self, cast: Cast) -> None:
        visit = VisitFactory(site=cast.site)
        assert shown(list_of(cast, year="soon", site=str(uuid4()), status="lost")) == [visit]

    def test_it_never_reaches_into_another_group_by_a_sites_number(self, cast: Cast) -> None:
        VisitFactory(site=cast.neighbour_site)
        assert shown(list_of(cast, site=str(cast.neighbour_site.pk))) == []

    def test_it_offers_no_sites_of_the_persons_other_group(self, cast: Cast) -> None:
        MembershipFactory(group=cast.neighbour, user=cast.volunteer)
        assert "WB1" not in text_of(list_of(cast))

    def test_it_keeps_the_choice_from_page_to_page(self, cast: Cast) -> None:
        for _each in range(VISITS_PER_PAGE + 1):
            VisitFactory(site=cast.site, visited_on="2025-05-03")
        answer = list_of(cast, year="2025")
        assert len(shown(answer)) == VISITS_PER_PAGE
        assert "?year=2025&amp;page=2" in answer.content.decode()
        assert len(shown(list_of(cast, year="2025", page="2"))) == 1

    def test_it_says_when_nothing_fits(self, cast: Cast) -> None:
        assert "No visit fits this choice" in text_of(list_of(cast))

    @pytest.mark.parametrize("number", [2, 20])
    def test_it_asks_the_database_as_often_for_many_as_for_few(
        self, cast: Cast, number: int, django_assert_max_num_queries: QueryCeiling
    ) -> None:
        for day in range(number):
            submit(cast.person("volunteer"), cast.site, visited_on=days_ago(day + 1).isoformat())
        client = signed_in(cast.volunteer)
        with django_assert_max_num_queries(LIST_QUERIES):
            client.get(address("visit_list", cast.group))

    def test_it_leaves_the_page_number_out_of_the_choice(self, cast: Cast) -> None:
        form = VisitFilter(QueryDict("year=2025&page=3&other=1"), group=cast.group)
        assert form.query() == "year=2025"


class TestDetail:
    def page(self, cast: Cast, visit: Visit, user: str = "volunteer", query: str = "") -> str:
        place = address("visit_detail", cast.group, visit_id=visit.pk) + query
        return text_of(signed_in(getattr(cast, user)).get(place))

    def test_it_shows_all_that_was_recorded(self, cast: Cast) -> None:
        visit = submit(
            cast.person("volunteer"),
            cast.site,
            measurements={"temperature": {"value": "11.4"}, "phosphate": {"value": "<0.05"}},
            counts=[
                {"taxon": "Baetidae", "count": "1200"},
                {"taxon": "Elmidae", "range": "10-99"},
                {"taxon": "Asellidae", "count": "0"},
                {"taxon": "Gammaridae", "range": "1000+"},
            ],
            notes="Grey film at the outfall",
        )
        page = self.page(cast, visit)
        for words in (
            "Recorder Vera Example",
            "Partner Sam Example",
            "10:00 – 11:10",
            "Water temperature 11.4 °C",
            "Phosphate <0.05 mg/L PO4",
            "Baetidae 1,200",
            "Elmidae 10–99",
            "Gammaridae 1,000+",
            "1 group looked for and not found",
            "Grey film at the outfall",
            "90 s of kicking; 90 s were planned.",
            "Visit submitted",
        ):
            assert words in page

    def test_it_shows_what_a_score_leaves_out_and_the_span_that_ranges_allow(self, cast: Cast) -> None:
        counts = [{"taxon": "Hydra", "count": "3"}, {"taxon": "Baetidae", "range": "10-99"}]
        visit = submit(cast.person("volunteer"), cast.site, counts=counts)
        page = self.page(cast, visit)
        assert "Biological Monitoring Working Party score 4 Hydrozoa" in page
        assert "by what was recorded" in page

    def test_it_thanks_whoever_sent_it_in_and_nobody_else(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site)
        assert "Thank you" in self.page(cast, visit, query="?sent=1")
        assert "Thank you" not in self.page(cast, visit)
        assert "Thank you" not in self.page(cast, visit, "coordinator", "?sent=1")

    def test_it_says_in_plain_words_why_it_was_not_tested(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site)
        page = self.page(cast, visit)
        assert "That does not mean the river is clean." in page
        assert "No trigger was in force at this site on that day." in page

    def test_it_stops_calling_scores_provisional_once_approved(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site)
        assert "provisional" in self.page(cast, visit)
        approve_visit(person=cast.person("coordinator"), visit=visit, accept_findings_reason="Seen the tray.")
        assert "provisional, not yet checked" not in self.page(cast, visit)

    def test_it_lets_the_recorder_mend_what_was_returned(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site)
        assert "Mend the visit" not in self.page(cast, visit)
        return_visit(person=cast.person("coordinator"), visit=visit, message="Which bank?")
        assert "Which bank?" in self.page(cast, visit)
        assert "Mend the visit" in self.page(cast, visit)
        assert "Mend the visit" not in self.page(cast, visit, "other_volunteer")

    def test_it_says_of_a_visit_not_made_that_it_has_no_score(self, cast: Cast) -> None:
        visit = VisitFactory(site=cast.site, was_made=False, not_made_reason="no_access")
        page = self.page(cast, visit)
        assert "no access" in page
        assert "It says nothing about the river." in page

    def test_it_is_not_there_for_people_of_another_group(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site)
        stranger = signed_in(cast.neighbour_coordinator)
        assert stranger.get(address("visit_detail", cast.group, visit_id=visit.pk)).status_code == 404
        assert stranger.get(address("visit_detail", cast.neighbour, visit_id=visit.pk)).status_code == 404

    def test_it_is_not_there_under_the_persons_other_group(self, cast: Cast) -> None:
        MembershipFactory(group=cast.neighbour, user=cast.volunteer)
        visit = submit(cast.person("volunteer"), cast.site)
        answer = signed_in(cast.volunteer).get(address("visit_detail", cast.neighbour, visit_id=visit.pk))
        assert answer.status_code == 404

    @pytest.mark.parametrize("taxa", [1, 20])
    def test_it_asks_the_database_as_often_for_many_rows_as_for_one(
        self, cast: Cast, taxa: int, django_assert_max_num_queries: QueryCeiling
    ) -> None:
        names = cast.site.recording_list.taxa.values_list("taxon", flat=True)[:taxa]
        visit = submit(cast.person("volunteer"), cast.site, counts=dict.fromkeys(names, 20))
        client = signed_in(cast.volunteer)
        with django_assert_max_num_queries(DETAIL_QUERIES):
            client.get(address("visit_detail", cast.group, visit_id=visit.pk))
