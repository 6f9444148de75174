"""`manage.py grow` as an operator meets it."""

from __future__ import annotations

from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from portal.accounts.models import Group
from tests.factories import GroupFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("by_owner")]


def test_it_grows_and_says_how_much() -> None:
    out, err = StringIO(), StringIO()
    call_command("grow", groups=1, sites=2, years=1, stdout=out, stderr=err)
    assert out.getvalue().startswith("1 groups, 24 visits, ")
    assert "1 of 1 years: 24 visits" in err.getvalue()


def test_it_refuses_a_portal_that_has_groups() -> None:
    GroupFactory()
    with pytest.raises(CommandError, match="has groups already"):
        call_command("grow", groups=1)
    assert Group.objects.count() == 1


def test_it_refuses_a_portal_in_use(settings: Any) -> None:
    settings.PRODUCTION = True
    with pytest.raises(CommandError, match="it gets no invented data"):
        call_command("grow", groups=1)
    assert not Group.objects.exists()


def test_it_refuses_to_grow_nothing() -> None:
    with pytest.raises(CommandError, match="must be 1 or more"):
        call_command("grow", years=0)
