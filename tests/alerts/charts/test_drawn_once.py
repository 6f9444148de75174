"""A chart is drawn once for its data, and never out of date; real drawings, real Valkey, calls counted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from datetime import timedelta
from functools import wraps
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.core.cache import caches
from django.core.cache.backends.redis import RedisCache
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import override

from alerts.charts import drawn_once, of_site
from alerts.evidence import picture
from portal.accounts.models import Group
from portal.audit.services import record_change
from portal.charts import Drawing, Point, TriggerLine, draw_history, to_png
from scoring.indices.methods import METHODS
from surveys.models import Site, Visit
from surveys.scores.rescoring import rescore_visits
from surveys.services.review import return_visit
from surveys.services.visits import approve_visit, correct_visit
from tests.alerts.conftest import Watch, set_level
from tests.factories import CLEAN_COUNTS, days_ago, submission_for

pytestmark = pytest.mark.django_db
SIZES = 2  # a page holds each chart for wide and for narrow screens


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch, settings: Any) -> list[str]:
    """The names of the histories that are really drawn; nothing has been kept before."""
    settings.CACHES = with_drawings(settings, KEY_PREFIX=uuid4().hex)
    monkeypatch.setattr(drawn_once, "_rest_until", 0.0)
    titles: list[str] = []

    @wraps(draw_history)
    def counted(*args: Any, **kwargs: Any) -> Drawing:
        titles.append(kwargs["title"])
        return draw_history(*args, **kwargs)

    monkeypatch.setattr(of_site, "draw_history", counted)
    return titles


def with_drawings(settings: Any, **changes: Any) -> dict[str, Any]:
    return {**settings.CACHES, "drawings": {**settings.CACHES["drawings"], **changes}}


def page_of(watch: Watch, role: str = "volunteer") -> str:
    client = Client()
    client.force_login(getattr(watch.cast, role))
    address = reverse("site_detail", kwargs={"slug": watch.cast.group.slug, "site_id": watch.site.pk})
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def public_page(watch: Watch) -> str:
    Group.objects.filter(pk=watch.cast.group.pk).update(is_public=True)
    address = reverse("public_site", kwargs={"slug": watch.cast.group.slug, "site_id": watch.site.pk})
    return Client().get(address).content.decode()


def fresh(watch: Watch) -> str:
    """What a member's page must show, drawn past all that is kept."""
    points, lines = of_site.site_points(watch.site, "bmwp")
    method = METHODS["bmwp"]
    return draw_history(
        points,
        lines,
        title=f"{watch.site}, {method.name}",
        index_name=method.name,
        unit=method.unit,
        width=of_site.WIDE[0],
        height=of_site.WIDE[1],
    )


def visit_of(watch: Watch) -> Visit:
    return Visit.objects.of_group(watch.cast.group).latest("submitted_at")


def correct(watch: Watch) -> None:
    visit = visit_of(watch)
    same = {"id": str(visit.pk), "visited_on": visit.visited_on.isoformat()}
    again = submission_for(visit.site, **same, counts=CLEAN_COUNTS | {"Perlidae": 3})
    correct_visit(person=watch.cast.person("coordinator"), visit=visit, submission=again, reason="Miscounted.")


def score_anew(watch: Watch) -> None:
    rescore_visits(person=None, group=watch.cast.group, visits=[visit_of(watch).pk])


def set_trigger(watch: Watch) -> None:
    set_level(watch.site, watch.cast.coordinator, 41, valid_from=days_ago(20))


CHANGES: list[Callable[[Watch], Any]] = [correct, score_anew, set_trigger, Watch.submit_clean]


def test_an_unchanged_page_draws_nothing(watch: Watch, drawn: list[str]) -> None:
    assert isinstance(caches["drawings"], RedisCache)
    first = page_of(watch)
    assert len(drawn) == SIZES
    assert page_of(watch, "coordinator").count('class="rb-chart') == first.count('class="rb-chart') == SIZES
    assert len(drawn) == SIZES


@pytest.mark.parametrize("change", CHANGES, ids=lambda change: change.__name__)
def test_whatever_changes_the_record_gives_a_new_drawing(
    watch: Watch, drawn: list[str], change: Callable[[Watch], Any]
) -> None:
    # As a version before the present one had scored it.
    watch.submit_low().scores.filter(index="bmwp", is_current=True).update(version="0", value=9)
    before = page_of(watch)
    change(watch)
    drawn.clear()
    after = page_of(watch)
    assert len(drawn) == SIZES
    assert fresh(watch) in after
    assert fresh(watch) not in before


def test_the_visits_are_read_only_when_something_was_recorded_of_the_group(
    watch: Watch, drawn: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[str] = []
    real = of_site.site_points

    def counted(site: Site, index: str, **named: Any) -> Any:
        read.append(index)
        return real(site, index, **named)

    monkeypatch.setattr(of_site, "site_points", counted)
    page_of(watch)
    record_change(actor=None, verb="site.changed", thing=watch.cast.neighbour_site)
    page_of(watch, "coordinator")
    assert read == ["bmwp"]
    # Recorded, and nothing of this site: it is read again, and found to be drawn already.
    record_change(actor=None, verb="contact.added", thing=watch.first)
    page_of(watch)
    assert read == ["bmwp"] * 2
    assert len(drawn) == SIZES


def test_a_trigger_that_begins_by_itself_is_drawn_from_its_day(watch: Watch, drawn: list[str]) -> None:
    set_level(watch.site, watch.cast.coordinator, 3, index="aspt", valid_from=days_ago(-1))
    page_of(watch)
    assert [title.endswith("BMWP") for title in drawn] == [True] * SIZES
    drawn.clear()
    with time_machine.travel(timezone.now() + timedelta(days=1), tick=False):
        page_of(watch)
    assert [title.endswith("ASPT") for title in drawn] == [True] * SIZES


def test_the_public_sees_a_visit_from_its_approval_until_it_is_opened_again(
    watch: Watch, drawn: list[str]
) -> None:
    visit = watch.submit_clean()
    without = public_page(watch)
    approve_visit(person=watch.cast.person("coordinator"), visit=visit, accept_findings_reason="Looked at.")
    with_it = public_page(watch)
    assert "8 visits from" in without
    assert "9 visits from" in with_it
    correct(watch)
    drawn.clear()
    assert "8 visits from" in public_page(watch)
    assert drawn == []  # the very drawing from before its approval


def test_members_and_the_public_have_drawings_of_their_own(watch: Watch, drawn: list[str]) -> None:
    watch.submit_low()
    assert "below the trigger: 1" in page_of(watch)
    assert "below the trigger" not in public_page(watch).split("<table")[0].split("<desc>")[0]
    assert len(drawn) == 2 * SIZES


def test_a_returned_visit_is_drawn_as_it_stands(watch: Watch, drawn: list[str]) -> None:
    visit = watch.submit_low()
    page_of(watch)
    return_visit(person=watch.cast.person("coordinator"), visit=visit, message="Please look again.")
    assert fresh(watch) in page_of(watch)


def test_each_language_has_its_own_drawing(watch: Watch, drawn: list[str]) -> None:
    english = of_site.site_chart(watch.site, "bmwp")
    with override("de"):
        german = of_site.site_chart(watch.site, "bmwp")
    assert "Begehungen" in german
    assert "visits" in english
    assert len(drawn) == 2


def test_the_picture_of_an_alert_is_made_once_for_all_who_get_it(
    watch: Watch, drawn: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[int] = []
    real = to_png

    @wraps(real)
    def counted(svg: str, *, width: int) -> bytes:
        made.append(width)
        return real(svg, width=width)

    monkeypatch.setattr(drawn_once, "to_png", counted)
    asked = (str(watch.site.pk), "bmwp", days_ago(3).isoformat(), days_ago(0).isoformat())
    first, second = picture.draw_history_picture(*asked), picture.draw_history_picture(*asked)
    assert first == second
    assert first.startswith(b"\x89PNG")
    assert made == [picture.PIXELS]


def test_a_cache_that_is_down_takes_no_page_down_and_is_left_alone_for_a_while(
    watch: Watch, drawn: list[str], settings: Any
) -> None:
    settings.CACHES = with_drawings(settings, LOCATION="unix:///nowhere/valkey.sock")
    assert page_of(watch).count('class="rb-chart') == SIZES
    assert drawn_once._rest_until > 0
    assert page_of(watch).count('class="rb-chart') == SIZES
    assert len(drawn) == 2 * SIZES


def test_all_that_the_pieces_of_a_site_are_made_from_changes_them(drawn: list[str], watch: Watch) -> None:
    point, line = Point(days_ago(9), 40.0), TriggerLine(30.0, days_ago(90))
    plain: dict[str, Any] = {"points": [point], "lines": [line], "emphasis": None, "index": "bmwp"}
    changes: list[dict[str, Any]] = [
        *({"points": [replace(point, **{name: value})]} for name, value in OTHER_POINT.items()),
        {"points": []},
        {"lines": [replace(line, level=31.0)]},
        {"lines": [replace(line, valid_to=days_ago(1))]},
        {"emphasis": days_ago(9)},
        {"index": "aspt"},
    ]
    assert set(OTHER_POINT) == {each.name for each in fields(Point)}
    first = pieces(watch, plain)
    for change in changes:
        drawn.clear()
        assert pieces(watch, plain | change) != first
        assert len(drawn) == SIZES
    watch.site.name = "Weir & <Pool>"
    assert "Weir &amp; &lt;Pool&gt;" in pieces(watch, plain)[0]
    drawn.clear()
    with override("de"):
        assert pieces(watch, plain)[2] != first[2]
    assert len(drawn) == SIZES


def pieces(watch: Watch, made_from: dict[str, Any]) -> list[str]:
    return list(drawn_once.set_once(of_site.pieces_of_site(watch.site, **made_from)))


OTHER_POINT: dict[str, Any] = {
    "when": days_ago(8),
    "value": 41.0,
    "low": 39.0,
    "high": 42.0,
    "tested": False,
    "below": True,
    "standard": False,
    "note": "cold",
}
