"""Where somebody can be rung: what alerts tell the agency of a coordinator."""

from __future__ import annotations

import pytest
from django.urls import reverse

from alerts.queries import who_to_call
from portal.accounts.models import User
from portal.audit.models import AuditEntry
from tests.conftest import Cast
from tests.surveys.pages import signed_in, text_of

pytestmark = pytest.mark.django_db
NUMBER = "01632 960123"


def test_a_coordinator_s_number_is_the_one_that_alerts_name(cast: Cast) -> None:
    User.objects.update(phone="")
    coordinator = signed_in(cast.second_coordinator)
    answer = coordinator.post(reverse("telephone_choose"), {"phone": f" {NUMBER} "})
    assert answer.status_code == 302
    caller = who_to_call(cast.group)
    assert caller is not None
    assert (caller.pk, caller.phone) == (cast.second_coordinator.pk, NUMBER)
    assert NUMBER in text_of(coordinator.get(reverse("own_record", args=[cast.group.slug])))
    assert NUMBER in coordinator.get(reverse("telephone_choose")).content.decode()


def test_it_goes_again(cast: Cast) -> None:
    volunteer = signed_in(cast.volunteer)
    for number in (NUMBER, ""):
        volunteer.post(reverse("telephone_choose"), {"phone": number})
        assert User.objects.get(pk=cast.volunteer.pk).phone == number


def test_the_trail_says_that_it_changed_and_not_to_what(cast: Cast) -> None:
    signed_in(cast.volunteer).post(reverse("telephone_choose"), {"phone": NUMBER})
    entry = AuditEntry.objects.across_groups("an account is of no group").get(verb="account.telephone")
    assert (entry.changes, entry.reason) == ({}, "")


def test_what_nobody_could_ring_is_told_at_its_field(cast: Cast) -> None:
    answer = signed_in(cast.volunteer).post(reverse("telephone_choose"), {"phone": "ask Ada"})
    assert answer.status_code == 422
    assert "Write the number in figures" in text_of(answer)
    assert "ask Ada" in answer.content.decode()
    assert User.objects.get(pk=cast.volunteer.pk).phone == ""
