"""What the shell reads: visits sent back to a person."""

from __future__ import annotations

from typing import Any

import pytest

from portal.queries import returned_to
from surveys.models import Visit
from surveys.models.visits import Status
from tests.conftest import Cast
from tests.factories import VisitFactory, days_ago

pytestmark = pytest.mark.django_db


def visit(cast: Cast, day: int, status: str = Status.APPROVED, **fields: Any) -> Visit:
    checked = {"reviewed_by": cast.coordinator} if status == Status.APPROVED else {}
    usual = {"site": cast.site, "visited_on": days_ago(day), "status": status}
    made: Visit = VisitFactory(**usual | checked | fields)
    return made


@pytest.mark.parametrize(("who", "is_theirs"), [("recorder", True), ("entered_by", True), ("partner", False)])
def test_a_returned_visit_goes_to_whoever_can_mend_it(cast: Cast, who: str, is_theirs: bool) -> None:
    sent_back = visit(cast, 3, Status.RETURNED, **{who: cast.volunteer})
    found = list(returned_to(cast.person("volunteer"), cast.group))
    assert found == ([sent_back] if is_theirs else [])


@pytest.mark.parametrize("status", [Status.WAITING, Status.APPROVED])
def test_only_what_was_returned_is_sent_back(cast: Cast, status: str) -> None:
    visit(cast, 3, status, recorder=cast.volunteer)
    assert list(returned_to(cast.person("volunteer"), cast.group)) == []


def test_one_visit_that_a_person_recorded_and_typed_is_sent_back_once(cast: Cast) -> None:
    own = visit(cast, 3, Status.RETURNED, recorder=cast.volunteer, entered_by=cast.volunteer)
    assert list(returned_to(cast.person("volunteer"), cast.group)) == [own]


def test_nothing_of_another_group_is_sent_back_here(cast: Cast) -> None:
    visit(cast, 3, Status.RETURNED, site=cast.neighbour_site, recorder=cast.volunteer)
    assert list(returned_to(cast.person("volunteer"), cast.group)) == []
