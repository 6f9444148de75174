"""The demonstration's people: trained, one training soon to lapse, one enquiry that waits."""

from __future__ import annotations

import pytest
from django.utils import timezone

from portal.accounts.models import Group
from portal.accounts.queries import members_of
from surveys.people.models import EmergencyContact, EnquiryState, Permit
from surveys.people.queries import lapsing_trainings, may_sample, open_enquiries
from tests.demo.played.conftest import NOW

pytestmark = pytest.mark.django_db


def test_its_people_are_trained_and_one_first_aid_lapses_soon(small_demo: Group) -> None:
    today = timezone.localdate(NOW)
    permits = may_sample(small_demo, today)
    assert set(permits) == {each.user_id for each in members_of(small_demo)}
    assert [each.kind.permits for each in lapsing_trainings(small_demo, today)] == [Permit.FIRST_AID]


def test_somebody_waits_for_an_answer_and_somebody_has_named_whom_to_ring(small_demo: Group) -> None:
    assert [each.state for each in open_enquiries(small_demo)] == [EnquiryState.ASKED]
    assert EmergencyContact.objects.of_group(small_demo).count() == 1
