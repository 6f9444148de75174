"""The public pages in a browser: axe, the map by keyboard, and tiles of a server of the test's own."""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest
from django.conf import LazySettings
from PIL import Image

from portal.accounts.models import Group
from portal.public.catchments import found_catchment
from portal.settings.maps import hosts_of
from surveys.models import Site
from surveys.services.review import approve_visit
from tests.browser.checks import PageFor, assert_accessible
from tests.conftest import Cast
from tests.factories import SiteFactory, submit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


class Tile(BaseHTTPRequestHandler):
    """Gives one small picture for every address, and notes what was asked for."""

    asked: list[str]

    def do_GET(self) -> None:
        self.asked.append(self.path)
        picture = io.BytesIO()
        Image.new("RGB", (256, 256), "wheat").save(picture, "PNG")
        self.send_response(200)
        self.send_header("Content-Type", "image/png")
        self.end_headers()
        self.wfile.write(picture.getvalue())

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing on the screen."""


@pytest.fixture
def tiles() -> Iterator[tuple[str, list[str]]]:
    asked: list[str] = []
    server = ThreadingHTTPServer(("127.0.0.1", 0), type("OwnTile", (Tile,), {"asked": asked}))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/{{z}}/{{x}}/{{y}}.png", asked
    server.shutdown()
    server.server_close()


@pytest.fixture
def sites(cast: Cast) -> list[Site]:
    """Three sites that flow into each other, one with an approved visit, in a group that publishes."""
    Group.objects.filter(id=cast.group.id).update(is_public=True)
    lower = SiteFactory(group=cast.group, code="AB3", name="Weir pool", latitude=54.47, longitude=-2.48)
    upper = SiteFactory(group=cast.group, code="AB0", latitude=54.52, longitude=-2.52, downstream=cast.site)
    Site.objects.of_group(cast.group).filter(pk=cast.site.pk).update(downstream=lower)
    visit = submit(cast.person("volunteer"), cast.site)
    approve_visit(person=cast.person("coordinator"), visit=visit, accept_findings_reason="Seen.")
    return [upper, cast.site, lower]


def test_the_map_is_walked_by_keyboard_down_the_river(sites: list[Site], cast: Cast, page_for: PageFor) -> None:
    page = page_for(None)
    page.goto("/public/alder-beck/")
    assert_accessible(page)
    marks = page.locator("a.rb-place")
    marks.first.focus()
    reached = []
    for _each in sites:
        reached.append(page.evaluate("document.activeElement.getAttribute('href')"))
        page.keyboard.press("Tab")
    assert reached == [f"/public/alder-beck/sites/{each.pk}/" for each in sites]
    marks.first.focus()
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/sites/{sites[0].pk}/")
    share = found_catchment(person=cast.person("coordinator"), group=cast.group, name="River Alder")
    for address in ("reports/", "data/", f"../catchments/{share.catchment_id}/"):
        page.goto(f"/public/alder-beck/{address}")
        assert_accessible(page)


def test_tiles_lie_below_the_marks_and_the_policy_lets_no_other_host(
    sites: list[Site], page_for: PageFor, settings: LazySettings, tiles: tuple[str, list[str]]
) -> None:
    settings.MAP_TILES, asked = tiles
    policy = settings.CONTENT_SECURITY_POLICY["DIRECTIVES"]
    settings.CONTENT_SECURITY_POLICY = {
        "DIRECTIVES": policy | {"img-src": [*policy["img-src"], *hosts_of(settings.MAP_TILES)]}
    }
    page = page_for(None)
    page.goto("/public/alder-beck/")
    page.wait_for_load_state("networkidle")
    assert len(set(asked)) == page.locator(".rb-tiles image").count() > 0
    assert_accessible(page)
