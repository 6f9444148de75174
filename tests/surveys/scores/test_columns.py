"""Tables of visits lead with what the visits' recording lists support, on every page that has one."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.test import Client

from portal.accounts.models import Group
from portal.accounts.walls import within
from portal.reports.document import render_document
from portal.reports.figures import gather_figures
from surveys.lists import recording
from surveys.lists.lines import ListLine
from surveys.lists.recording import first_index
from surveys.models import RecordingList, Site, Visit
from surveys.queries import visits_of
from surveys.scores.columns import columns_of, headlines_of
from surveys.services.built_in_lists import ensure_bankside_list
from surveys.services.lists import create_list
from surveys.services.review import approve_visit
from tests.conftest import Cast
from tests.factories import SiteFactory, VisitFactory, days_ago, family_list, submit
from tests.surveys.pages import address, signed_in, text_of

# Nine stonefly nymphs and none of the other five groups: 4.071 x log10(10) = 4.071.
STONEFLIES = {
    "Plecoptera": 9,
    **dict.fromkeys(("Ephemeroptera", "Trichoptera", "Oligochaeta", "Hirudinea", "Chironomidae"), 0),
}


@pytest.fixture
def bankside(cast: Cast) -> Site:
    """A second site of the group, recorded on the bankside list."""
    site: Site = SiteFactory(group=cast.group, code="AB2", name="Ford", recording_list=ensure_bankside_list())
    return site


def at_bankside(cast: Cast, site: Site, **changes: Any) -> Visit:
    return submit(cast.person("volunteer"), site, counts=STONEFLIES, **changes)


def approved(cast: Cast, visit: Visit) -> Visit:
    approve_visit(person=cast.person("coordinator"), visit=visit, accept_findings_reason="Seen on the photo.")
    return visit


def own_list(cast: Cast, *taxa: str) -> RecordingList:
    lines = [ListLine(taxon, "", "") for taxon in taxa]
    return create_list(person=cast.person("coordinator"), group=cast.group, name="Ours", lines=lines)


def cells(cast: Cast) -> list[tuple[str, str]]:
    """Heading and cell of each column, for every visit of the group, oldest first."""
    visits = list(visits_of(cast.group).order_by("visited_on"))
    return [(column.heading, column.cell(visit)) for visit in visits for column in columns_of(visits)]


class TestColumns:
    def test_it_gives_the_three_usual_indices_to_families(self, cast: Cast) -> None:
        submit(cast.person("volunteer"), cast.site)
        assert cells(cast) == [("BMWP", "48"), ("Scoring taxa", "7"), ("ASPT", "6.86")]

    def test_it_gives_the_bankside_score_alone_to_the_bankside_list(self, cast: Cast, bankside: Site) -> None:
        at_bankside(cast, bankside)
        assert cells(cast) == [("Bankside score", "4.1")]

    def test_it_names_the_index_in_each_cell_where_lists_differ(self, cast: Cast, bankside: Site) -> None:
        submit(cast.person("volunteer"), cast.site, visited_on=days_ago(9).isoformat())
        at_bankside(cast, bankside)
        assert cells(cast) == [("Score", "BMWP 48"), ("Score", "Bankside score 4.1")]

    def test_it_keeps_the_columns_where_two_lists_lead_with_the_same(self, cast: Cast) -> None:
        families = family_list().taxa.values_list("taxon", flat=True)
        site = SiteFactory(group=cast.group, code="AB3", recording_list=own_list(cast, *families))
        submit(cast.person("volunteer"), cast.site)
        submit(cast.person("volunteer"), site)
        assert {heading for heading, _cell in cells(cast)} == {"BMWP", "Scoring taxa", "ASPT"}

    def test_it_shows_only_as_many_as_asked_for(self, cast: Cast) -> None:
        submit(cast.person("volunteer"), cast.site)
        assert [each.heading for each in columns_of(visits_of(cast.group), most=2)] == ["BMWP", "Scoring taxa"]

    def test_it_shows_a_dash_where_a_list_supports_nothing(self, cast: Cast) -> None:
        empty = RecordingList.objects.create(group=cast.group, slug="empty", name="Empty", level="group")
        VisitFactory(site=cast.site, recording_list=empty)
        assert cells(cast) == [("Score", "–")]

    def test_it_shows_a_dash_where_a_score_is_not_defined(self, cast: Cast) -> None:
        submit(cast.person("volunteer"), cast.site, counts={"Baetidae": 0})
        assert dict(cells(cast)) == {"BMWP": "0", "Scoring taxa": "0", "ASPT": "–"}

    def test_it_goes_by_the_list_of_the_visit_and_not_by_the_sites_present_one(self, cast: Cast) -> None:
        submit(cast.person("volunteer"), cast.site)
        Site.objects.of_group(cast.group).update(recording_list=ensure_bankside_list())
        assert [heading for heading, _cell in cells(cast)] == ["BMWP", "Scoring taxa", "ASPT"]

    def test_it_asks_once_for_any_number_of_lists_and_then_knows_them(
        self, cast: Cast, bankside: Site, django_assert_num_queries: Any, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        submit(cast.person("volunteer"), cast.site)
        at_bankside(cast, bankside)
        visits = list(visits_of(cast.group))
        monkeypatch.setattr(recording, "_known", {})
        with django_assert_num_queries(1):
            first = columns_of(visits)
        with django_assert_num_queries(0):
            assert columns_of(visits) == first

    def test_it_does_not_keep_that_a_list_it_was_not_given_has_no_lines(self, cast: Cast) -> None:
        hidden = own_list(cast, "Baetidae", "Chironomidae", "Asellidae")
        with within():
            assert headlines_of([hidden.pk]) == {hidden.pk: ()}
        assert headlines_of([hidden.pk])[hidden.pk]

    def test_it_asks_nothing_for_no_visits(self, cast: Cast, django_assert_num_queries: Any) -> None:
        with django_assert_num_queries(0):
            assert [each.heading for each in columns_of([])] == ["Score"]

    def test_it_leads_with_the_index_that_charts_are_drawn_by(self, cast: Cast) -> None:
        lists = [family_list(), ensure_bankside_list(), own_list(cast, "Baetidae", "Chironomidae", "Asellidae")]
        leading = headlines_of([each.pk for each in lists])
        assert [leading[each.pk][0] for each in lists] == [first_index(each) for each in lists]


class TestPages:
    def test_the_site_list_shows_the_score_of_a_bankside_site(self, cast: Cast, bankside: Site) -> None:
        at_bankside(cast, bankside)
        page = text_of(signed_in(cast.volunteer).get(address("site_list", cast.group)))
        assert "Bankside score Verdict" in page
        assert "4.1 not tested" in page
        assert "BMWP" not in page

    def test_the_site_list_spans_its_columns_where_there_was_no_visit(self, cast: Cast, bankside: Site) -> None:
        at_bankside(cast, bankside)
        page = signed_in(cast.volunteer).get(address("site_list", cast.group)).content.decode()
        # AB1 has no visit: latest visit, one score and verdict.
        assert 'colspan="3"' in page

    def test_the_site_page_shows_its_own_index(self, cast: Cast, bankside: Site) -> None:
        at_bankside(cast, bankside)
        page = text_of(signed_in(cast.volunteer).get(address("site_detail", cast.group, site_id=bankside.pk)))
        assert "Date Bankside score Verdict Status" in page

    def test_the_list_of_visits_names_each_index(self, cast: Cast, bankside: Site) -> None:
        submit(cast.person("volunteer"), cast.site)
        at_bankside(cast, bankside)
        page = text_of(signed_in(cast.volunteer).get(address("visit_list", cast.group)))
        assert "Date Site Score Verdict Status" in page
        assert "BMWP 48" in page
        assert "Bankside score 4.1" in page

    def test_the_queue_and_the_review_show_the_bankside_score(self, cast: Cast, bankside: Site) -> None:
        at_bankside(cast, bankside, visited_on=days_ago(20).isoformat())
        visit = at_bankside(cast, bankside)
        browser = signed_in(cast.coordinator)
        queue = text_of(browser.get(address("review_queue", cast.group)))
        review = text_of(browser.get(address("visit_review", cast.group, visit_id=visit.pk)))
        assert "Recorder Bankside score Verdict" in queue
        assert "Bankside score 4.1 4.1" in review

    def test_the_public_pages_show_the_bankside_score(self, cast: Cast, bankside: Site, client: Client) -> None:
        Group.objects.filter(pk=cast.group.pk).update(is_public=True)
        approved(cast, at_bankside(cast, bankside))
        for page in ("/public/alder-beck/", f"/public/alder-beck/sites/{bankside.pk}/"):
            text = text_of(client.get(page))
            assert "Bankside score" in text
            assert "4.1" in text
            assert "BMWP" not in text

    def test_the_change_page_starts_with_the_index_of_the_list(self, cast: Cast, bankside: Site) -> None:
        approved(cast, at_bankside(cast, bankside))
        page = text_of(signed_in(cast.volunteer).get(address("site_change", cast.group, site_id=bankside.pk)))
        assert "by Bankside score." in page


class TestReport:
    def written(self, cast: Cast) -> tuple[dict[str, Any], str]:
        figures = gather_figures(cast.group, days_ago(1).year)
        return figures, render_document(figures, edition=1, published_on=date(2030, 1, 1))

    def test_the_report_shows_each_site_by_its_own_list(self, cast: Cast, bankside: Site) -> None:
        approved(cast, submit(cast.person("volunteer"), cast.site))
        approved(cast, at_bankside(cast, bankside))
        figures, html = self.written(cast)
        shown = {site["code"]: site["score_columns"] for site in figures["sites"]}
        assert shown == {"AB1": ["bmwp", "ntaxa", "aspt", "ept_families"], "AB2": ["bankside"]}
        assert html.count('<th scope="col" class="n">Bankside score</th>') == 1
        assert html.count('<th scope="col" class="n">BMWP</th>') == 1

    def test_the_report_explains_the_indices_that_it_shows(self, cast: Cast, bankside: Site) -> None:
        approved(cast, at_bankside(cast, bankside))
        Site.objects.of_group(cast.group).exclude(pk=bankside.pk).delete()
        figures, _html = self.written(cast)
        assert [each["index"] for each in figures["methods"]["indices"]] == ["bankside"]

    def test_the_report_draws_an_untriggered_site_by_what_its_list_supports(
        self, cast: Cast, bankside: Site
    ) -> None:
        approved(cast, at_bankside(cast, bankside))
        figures, _html = self.written(cast)
        assert {site["code"]: site["index"] for site in figures["sites"]} == {"AB1": "aspt", "AB2": "bankside"}
