"""Files of open data are made ahead, on the terms of today, and given at an address that stays."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from django.test import Client

from portal.accounts.models import Group
from portal.jobs.models import Job
from portal.jobs.working import work_off
from portal.public.data.services import make_open_data, request_what_is_due
from surveys.exporting.models import Blur, Licence, PublishingTerms
from surveys.exporting.services import set_terms
from surveys.services.review import approve_visit
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago, submit

pytestmark = pytest.mark.django_db
DATA = "/public/alder-beck/data/"


@pytest.fixture
def public(cast: Cast, settings: Any, tmp_path: Any) -> Cast:
    settings.MEDIA_ROOT = tmp_path
    Group.objects.filter(id=cast.group.id).update(is_public=True)
    cast.group.refresh_from_db()
    agree(cast)
    visit = submit(cast.person("volunteer"), cast.site)
    approve_visit(person=cast.person("coordinator"), visit=visit, accept_findings_reason="Seen.")
    submit(cast.person("volunteer"), cast.site, visited_on=days_ago(20).isoformat())
    return cast


def agree(cast: Cast, blur: str = Blur.NEAR, licence: str = Licence.CC_BY) -> None:
    terms = PublishingTerms.objects.of_group(cast.group).first() or PublishingTerms(group=cast.group)
    terms.licence, terms.blur = licence, blur
    set_terms(person=cast.person("coordinator"), group=cast.group, terms=terms)


def make(cast: Cast) -> int:
    return make_open_data(cast.group, lambda _done: None)


def rows(client: Client, name: str) -> list[dict[str, str]]:
    answer: Any = client.get(DATA + name)
    assert answer.status_code == 200
    body = b"".join(answer.streaming_content).decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(body)))


def test_a_row_holds_an_approved_visit_and_its_rounded_place(public: Cast, client: Client) -> None:
    assert make(public) == 1
    (row,) = rows(client, "results.csv")
    assert (row["site"], row["date"], row["bmwp"]) == ("AB1", days_ago(1).isoformat(), "48")
    assert (row["latitude"], row["longitude"]) == ("54.50", "-2.50")
    assert int(row["coordinate_uncertainty_m"]) > 700
    taxa = {each["taxon"]: each["count"] for each in rows(client, "taxa.csv")}
    assert taxa["Heptageniidae"] == "14"


def test_no_request_makes_a_file(public: Cast, client: Client) -> None:
    assert client.get(f"{DATA}results.csv").status_code == 404
    assert "being made" in client.get(DATA).content.decode()
    make(public)
    page = client.get(DATA).content.decode()
    assert "CC BY 4.0" in page
    assert "Alder Beck Watch (" in page
    # "Both" says nothing before the two are named.
    assert page.index("results.csv") < page.index("taxa.csv") < page.index("archive.zip")


@pytest.mark.parametrize("changed", [{"blur": Blur.FAR}, {"licence": ""}])
def test_a_file_made_on_other_terms_is_given_to_nobody(public: Cast, client: Client, changed: Any) -> None:
    make(public)
    agree(public, **changed)
    assert client.get(f"{DATA}results.csv").status_code == 404
    assert "results.csv" not in client.get(DATA).content.decode()


def test_the_portal_makes_them_anew_after_a_change_and_only_then(public: Cast, client: Client) -> None:
    assert request_what_is_due() == 1
    work_off(Job.objects.of_group(public.group).get(kind="open_data").pk)
    assert len(rows(client, "results.csv")) == 1
    assert request_what_is_due() == 0
    visit = submit(public.person("volunteer"), public.site, visited_on=days_ago(9).isoformat())
    approve_visit(person=public.person("coordinator"), visit=visit, accept_findings_reason="Seen.")
    assert request_what_is_due() == 1


def test_a_group_that_does_not_publish_gets_no_files(public: Cast) -> None:
    Group.objects.filter(id=public.group.id).update(is_public=False)
    assert request_what_is_due() == 0


def test_an_unchanged_page_is_not_sent_again_and_a_changed_one_is(public: Cast, client: Client) -> None:
    first = client.get("/public/alder-beck/")
    assert "public" in first["Cache-Control"]
    again = {"If-None-Match": first["ETag"]}
    assert client.get("/public/alder-beck/", headers=again).status_code == 304
    visit = submit(public.person("volunteer"), public.site, visited_on=days_ago(9).isoformat())
    approve_visit(person=public.person("coordinator"), visit=visit, accept_findings_reason="Seen.")
    assert client.get("/public/alder-beck/", headers=again).status_code == 200
    client.force_login(public.volunteer)
    assert "private" in client.get("/public/alder-beck/")["Cache-Control"]


def test_search_engines_find_public_pages_and_no_others(public: Cast, client: Client) -> None:
    site_map = client.get("/sitemap.xml").content.decode()
    assert f"/public/alder-beck/sites/{public.site.pk}/" in site_map
    assert "withy-brook" not in site_map
    robots = client.get("/robots.txt").content.decode()
    assert "Disallow: /\n" in robots
    page = client.get("/public/alder-beck/").content.decode()
    for wanted in ('rel="canonical"', 'hreflang="de"', 'name="description"', "application/atom+xml"):
        assert wanted in page


def test_the_feed_tells_approved_results(public: Cast, client: Client) -> None:
    feed = client.get("/public/alder-beck/feed.atom").content.decode()
    assert feed.count("<entry>") == 1
    assert "BMWP 48" in feed


def test_a_page_of_many_sites_is_light_and_takes_three_questions(
    public: Cast, client: Client, django_assert_max_num_queries: Any
) -> None:
    for number in range(60):
        SiteFactory(group=public.group, code=f"S{number}", latitude=54 + number / 100)
    with django_assert_max_num_queries(3):
        page = client.get("/public/alder-beck/").content
    assert len(page) < 100_000
    assert page.count(b'class="rb-place"') == 50
    assert b"page=2" in page


def test_tiles_are_asked_for_only_where_a_server_is_named(public: Cast, client: Client, settings: Any) -> None:
    assert b"<image" not in client.get("/public/alder-beck/").content
    settings.MAP_TILES = "http://127.0.0.1:9/{z}/{x}/{y}.png"
    settings.MAP_TILES_ATTRIBUTION = "Tiles of somebody"
    page = client.get("/public/alder-beck/").content.decode()
    assert 'href="http://127.0.0.1:9/' in page
    assert "Tiles of somebody" in page
