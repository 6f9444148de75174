"""The demo's sheet that waits to be loaded."""

from __future__ import annotations

import pytest

from portal.accounts.models import Group
from portal.accounts.queries import members_of, person_of
from surveys.importing.queries import kept_sheets
from surveys.services.imports import check_run

pytestmark = pytest.mark.django_db


def test_an_old_sheet_waits_with_one_slip_in_it(small_demo: Group) -> None:
    (run,) = kept_sheets(small_demo)
    person = person_of(members_of(small_demo).filter(role="coordinator")[0].user)
    checked = check_run(person=person, run=run)
    assert [(each.cell, each.value) for each in checked.problems] == [("E4", "some")]
    assert checked.new == 5
