"""The level of a river: while it is above a site's limit nobody is asked to go there."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.http import Http404
from django.utils import timezone

from portal.audit.services import history_of
from surveys.errors import NotPossible
from surveys.models import RiverReport, Site
from surveys.outings.rivers import river_at
from surveys.overviews import page_of_sites
from surveys.queries import DueSite, due_of, sites_due, with_last_visit
from surveys.services.rivers import lift_river_report, report_river
from tests.conftest import Cast
from tests.factories import SiteFactory, VisitFactory, days_ago
from tests.surveys.pages import address, signed_in, text_of

pytestmark = pytest.mark.django_db
STAY_AWAY = "river above its limit: stay away"


@pytest.fixture
def late_site(cast: Cast) -> Site:
    """A site with a gauge, whose visit is long due."""
    Site.objects.of_group(cast.group).update(level_limit_m=Decimal("0.9"), gauge_name="Weir gauge")
    VisitFactory(site=cast.site, group=cast.group, visited_on=days_ago(90))
    return Site.objects.of_group(cast.group).select_related("group", "recording_list").get(pk=cast.site.pk)


def report(cast: Cast, **said: Any) -> RiverReport:
    site = Site.objects.of_group(cast.group).select_related("group").get(pk=cast.site.pk)
    return report_river(person=cast.person("volunteer"), site=site, **said)


def due_here(cast: Cast) -> DueSite:
    site = with_last_visit(Site.objects.of_group(cast.group)).get(pk=cast.site.pk)
    due = due_of(site, timezone.localdate())
    assert due is not None
    return due


def due_state(cast: Cast) -> str:
    return due_here(cast).state


class TestTheNudge:
    def test_it_goes_away_and_comes_back(self, cast: Cast, late_site: Site) -> None:
        assert due_state(cast) == "late"
        report(cast, too_high=True)
        assert due_state(cast) == "high"
        with time_machine.travel(timezone.now() + timedelta(hours=24, minutes=1)):
            assert due_state(cast) == "late"

    def test_it_comes_back_when_somebody_says_that_the_river_has_fallen(
        self, cast: Cast, late_site: Site
    ) -> None:
        report(cast, too_high=True)
        lift_river_report(person=cast.person("other_volunteer"), site=late_site)
        assert due_state(cast) == "late"

    def test_it_comes_back_with_a_reading_below_the_limit(self, cast: Cast, late_site: Site) -> None:
        report(cast, too_high=True, holds_until=timezone.now() + timedelta(days=3))
        report(cast, level_m=Decimal("0.6"))
        assert due_state(cast) == "late"
        with time_machine.travel(timezone.now() + timedelta(days=2)):
            assert due_state(cast) == "late", "an older report must not come to life again"

    @pytest.mark.parametrize(("level", "state"), [("0.899", "late"), ("0.9", "late"), ("0.901", "high")])
    def test_above_is_strictly_above_the_limit(
        self, cast: Cast, late_site: Site, level: str, state: str
    ) -> None:
        made = report(cast, level_m=Decimal(level))
        assert due_state(cast) == state
        assert made.is_above is (state == "high")

    def test_a_limit_that_is_changed_judges_the_reading_anew(self, cast: Cast, late_site: Site) -> None:
        report(cast, level_m=Decimal("0.8"))
        Site.objects.of_group(cast.group).update(level_limit_m=Decimal("0.7"))
        assert due_state(cast) == "high"
        assert river_at(cast.site).high_until is not None

    def test_a_reading_says_nothing_at_a_site_without_a_limit(self, cast: Cast) -> None:
        assert not report(cast, level_m=Decimal("4")).is_above
        assert due_state(cast) == "first"

    def test_it_concerns_that_site_alone(self, cast: Cast, late_site: Site) -> None:
        other = SiteFactory(group=cast.group, code="AB2")
        report(cast, too_high=True)
        states = {due.site.code: due.state for due in sites_due(cast.group, timezone.localdate())}
        assert states == {"AB1": "high", other.code: "first"}

    def test_such_sites_come_last(self, cast: Cast, late_site: Site) -> None:
        SiteFactory(group=cast.group, code="ZZ9")
        report(cast, too_high=True)
        assert [row.site.code for row in page_of_sites(cast.group, timezone.localdate())] == ["ZZ9", "AB1"]

    def test_the_query_and_the_site_agree(self, cast: Cast, late_site: Site) -> None:
        made = report(cast, too_high=True)
        assert due_here(cast).high_until == river_at(cast.site).high_until == made.holds_until


class TestReporting:
    @pytest.mark.parametrize(
        ("said", "field"),
        [
            ({}, "level_m"),
            ({"level_m": Decimal("101")}, "level_m"),
            ({"level_m": Decimal("-11")}, "level_m"),
            ({"too_high": True, "holds_until": timedelta(minutes=-1)}, "holds_until"),
            ({"too_high": True, "holds_until": timedelta(days=15)}, "holds_until"),
        ],
    )
    def test_it_refuses_what_cannot_be_at_its_field(self, cast: Cast, said: dict[str, Any], field: str) -> None:
        if "holds_until" in said:
            said = said | {"holds_until": timezone.now() + said["holds_until"]}
        with pytest.raises(NotPossible) as refusal:
            report(cast, **said)
        assert refusal.value.field == field
        assert not RiverReport.objects.of_group(cast.group).exists()

    def test_who_said_so_and_when_stays(self, cast: Cast) -> None:
        report(cast, too_high=True)
        lift_river_report(person=cast.person("volunteer"), site=cast.site)
        verbs = [entry.verb for entry in history_of(cast.site, cast.group)]
        assert verbs == ["site.river_reported", "site.river_lifted"]

    def test_nothing_is_lifted_where_nothing_was_said(self, cast: Cast) -> None:
        with pytest.raises(NotPossible):
            lift_river_report(person=cast.person("volunteer"), site=cast.site)

    def test_a_neighbour_reports_nothing_here(self, cast: Cast) -> None:
        with pytest.raises(Http404):
            report_river(person=cast.person("neighbour_coordinator"), site=cast.site, too_high=True)
        with pytest.raises((Http404, PermissionDenied)):
            lift_river_report(person=cast.person("stranger"), site=cast.site)

    def test_the_database_wants_a_report_to_say_something(self, cast: Cast) -> None:
        now = timezone.now()
        with pytest.raises(IntegrityError), transaction.atomic():
            RiverReport.objects.create(site=cast.site, reported_at=now, holds_until=now + timedelta(hours=1))


class TestPages:
    def test_desk_list_and_site_say_stay_away_and_not_that_it_is_late(
        self, cast: Cast, late_site: Site
    ) -> None:
        client = signed_in(cast.volunteer)
        ways = [
            address("group_desk", cast.group),
            address("site_list", cast.group),
            address("site_detail", cast.group, site_id=cast.site.pk),
            address("bank_site", cast.group, site_id=cast.site.pk),
        ]
        for way in ways:
            assert "was due on" in text_of(client.get(way)), way
        report(cast, too_high=True)
        for way in ways:
            page = text_of(client.get(way))
            assert STAY_AWAY in page.lower(), way
            assert "was due on" not in page, way

    def test_the_desk_offers_no_visit_there(self, cast: Cast, late_site: Site) -> None:
        report(cast, too_high=True)
        page = signed_in(cast.volunteer).get(address("group_desk", cast.group)).content.decode()
        assert address("visit_start", cast.group, site_id=cast.site.pk) not in page

    def test_a_member_reports_a_reading_with_a_comma(self, cast: Cast, late_site: Site) -> None:
        url = address("river_report", cast.group, site_id=cast.site.pk)
        answer = signed_in(cast.volunteer).post(url, {"level_m": "1,25"}, follow=True)
        assert answer.status_code == 200
        assert RiverReport.objects.of_group(cast.group).get().level_m == Decimal("1.25")
        assert "The reading was 1.25 m." in text_of(answer)
        assert STAY_AWAY in text_of(answer).lower()

    @pytest.mark.parametrize(
        ("form", "words"),
        [
            ({}, "Give the reading"),
            ({"level_m": "high"}, "as a number"),
            ({"too_high": "on", "holds_until": "yesterday"}, "Give a day and a time"),
            ({"too_high": "on", "holds_until": "2001-01-01T10:00"}, "This time is past"),
        ],
    )
    def test_it_says_what_is_wrong(self, cast: Cast, late_site: Site, form: dict[str, str], words: str) -> None:
        answer = signed_in(cast.volunteer).post(address("river_report", cast.group, site_id=cast.site.pk), form)
        assert answer.status_code == 422
        assert words in text_of(answer)

    def test_a_site_without_a_gauge_asks_for_no_reading(self, cast: Cast) -> None:
        client = signed_in(cast.volunteer)
        url = address("river_report", cast.group, site_id=cast.site.pk)
        assert "Reading of the gauge" not in text_of(client.get(url))
        assert client.post(url, {}).status_code == 422, "with nothing said it is no report"

    def test_it_is_lifted_by_a_button(self, cast: Cast) -> None:
        report(cast, too_high=True)
        client = signed_in(cast.volunteer)
        url = address("river_lift", cast.group, site_id=cast.site.pk)
        assert STAY_AWAY not in text_of(client.post(url, follow=True)).lower()
        assert "Nothing says at present" in text_of(client.post(url, follow=True))

    def test_the_limit_is_set_with_the_site(self, cast: Cast) -> None:
        client = signed_in(cast.coordinator)
        url = address("site_edit", cast.group, site_id=cast.site.pk)
        form: Any = client.get(url).context["form"]
        kept = {name: form[name].value() or "" for name in form.fields}
        limits = {
            "level_limit": "third stone under water",
            "gauge_name": "Weir gauge",
            "gauge_link": "levels.example/12",
            "level_limit_m": "0.85",
            "catchment": "Alder",
            "location": "54.5, -2.5",
        }
        page = text_of(client.post(url, kept | limits, follow=True))
        assert "third stone under water" in page
        site = Site.objects.of_group(cast.group).get(pk=cast.site.pk)
        assert (site.gauge_link, site.level_limit_m) == ("https://levels.example/12", Decimal("0.850"))
