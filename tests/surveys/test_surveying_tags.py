"""What templates ask of visits and sites."""

from __future__ import annotations

from decimal import Decimal

import pytest

from portal.templatetags import ui
from surveys.models import Site, Visit
from surveys.queries import DueSite, visits_of
from surveys.templatetags.surveying import (
    due_badge,
    in_column,
    kicking_seconds,
    score_columns,
    span,
    status_badge,
)
from tests.conftest import Cast
from tests.factories import VisitFactory, days_ago, submit


def test_it_prints_the_scores_of_a_visit_by_column(cast: Cast) -> None:
    submit(cast.person("volunteer"), cast.site)
    visit = visits_of(cast.group).get()
    columns = score_columns([visit])
    assert [column.heading for column in columns] == ["BMWP", "Scoring taxa", "ASPT"]
    assert [in_column(visit, column) for column in columns] == ["48", "7", "6.86"]


def test_it_prints_a_dash_where_there_is_no_score(cast: Cast) -> None:
    VisitFactory(site=cast.site)
    visit = visits_of(cast.group).get()
    assert [in_column(visit, column) for column in score_columns([visit], 1)] == ["–"]


@pytest.mark.parametrize(
    ("status", "icon", "word"),
    [
        ("waiting", "waiting", "waiting to be checked"),
        ("returned", "caution", "returned to the recorder"),
        ("approved", "ok", "approved"),
    ],
)
def test_it_shows_a_status_by_word_and_shape(status: str, icon: str, word: str) -> None:
    badge = status_badge(Visit(status=status))
    assert str(ui.icon(icon)) in badge
    assert f"</svg>{word}</span>" in badge


@pytest.mark.parametrize(
    ("state", "kind", "start"),
    [("later", "", "due on"), ("due", "info", "due now, by"), ("late", "caution", "was due on")],
)
def test_it_says_when_the_next_visit_is_due(state: str, kind: str, start: str) -> None:
    badge = due_badge(DueSite(Site(), days_ago(30), days_ago(0), state))
    assert badge.startswith(f'<span class="badge badge--{kind}">' if kind else '<span class="badge">')
    assert f"</svg>{start} " in badge


def test_it_says_that_the_first_visit_is_open_whether_or_not_a_day_is_set() -> None:
    for day in (None, days_ago(3)):
        assert "</svg>first visit open</span>" in due_badge(DueSite(Site(), None, day, "first"))


def test_it_says_that_a_site_is_closed() -> None:
    assert "</svg>closed</span>" in due_badge(None)


def test_it_adds_up_the_kicking_time(cast: Cast) -> None:
    visit = submit(cast.person("volunteer"), cast.site)
    assert kicking_seconds(visit) == "90 s"


def test_it_prints_a_range_without_spare_noughts() -> None:
    assert span((Decimal("0.0"), Decimal("60000"))) == "0 – 60,000"
    assert span((Decimal("-1"), Decimal("7.5"))) == "-1 – 7.5"
