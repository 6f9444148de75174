"""What waits on the desk of the demo's coordinator."""

from __future__ import annotations

from datetime import timedelta

import pytest
import time_machine
from django.test import Client

from alerts.models import QuietPeriod
from portal.accounts.models import Group, User
from portal.demo.world import GROUPS
from portal.embedded.inbox import NO_MAILBOXES
from portal.outbox.models import Message
from tests.demo.played.conftest import NOW

pytestmark = pytest.mark.django_db


def test_the_desk_has_something_of_everything(small_demo: Group, client: Client) -> None:
    with time_machine.travel(NOW + timedelta(hours=1), tick=True):
        client.force_login(User.objects.get(email=GROUPS[0].coordinators[0].email))
        page = client.get(f"/groups/{small_demo.slug}/").content.decode()
    counted = ("visits to check", "open incident", "not delivered", "open enquiry", "training lapses")
    kept = ("permission ends", "1 rehearsal overdue", "Repeat visits", "Not covered", "Sites to visit")
    assert [words for words in (*counted, *kept) if words not in page] == []


def test_one_site_is_quiet_for_works_and_one_address_was_mistyped(small_demo: Group) -> None:
    (quiet,) = QuietPeriod.objects.of_group(small_demo)
    assert quiet.starts_at < NOW + timedelta(hours=1) < quiet.ends_at
    lost = Message.objects.of_group(small_demo).get(to_address__endswith=NO_MAILBOXES)
    assert (lost.kind, lost.state) == ("invitation", "owed")
