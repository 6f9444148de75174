"""What has a limit goes once it is reached and not before; again and again without harm, and without a name."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.conf import LazySettings
from django.contrib.sessions.models import Session
from django.core.files.base import ContentFile
from django.utils import timezone

from portal.accounts.models import Invitation, Membership
from portal.audit.models import AuditEntry, EntryAddress
from portal.jobs.models import Job
from portal.outbox.models import Attempt, Message
from portal.privacy import limits, sweeping
from portal.privacy.models import KeepingTerms
from portal.privacy.register import KEPT
from portal.privacy.sweeping import let_go_what_is_due
from portal.tokens.models import KeptAnswer
from surveys.models import Draft, ImportRun, Photo, SafeReturn
from surveys.models.returns import ReturnNotice
from surveys.people.models import Enquiry
from surveys.rota.models import Availability
from tests.conftest import Cast
from tests.people.making import enquiry_in
from tests.privacy.making import a_picture
from tests.surveys.outings.returning import begin_return

LIMITED = {each.key: each.limit for each in KEPT if each.limit}
# Whether the thing is still there; made so many hours after it would have reached its limit.
Case = Callable[[Cast, Any], Callable[[], bool]]


@pytest.fixture(autouse=True)
def media(settings: LazySettings, tmp_path: Path) -> Path:
    settings.MEDIA_ROOT = tmp_path
    return tmp_path


def an_invitation(cast: Cast, at: Any) -> Callable[[], bool]:
    made = Invitation.objects.create(
        group=cast.group, email="x@y.example", invited_by=cast.coordinator, revoked_at=at
    )
    return lambda: Invitation.objects.of_group(cast.group).get(pk=made.pk).email != ""


def an_enquiry(cast: Cast, at: Any) -> Callable[[], bool]:
    made = enquiry_in(cast.group, changed_at=at)
    return lambda: Enquiry.objects.of_group(cast.group).filter(pk=made.pk).exists()


def an_availability(cast: Cast, at: Any) -> Callable[[], bool]:
    Availability.objects.create(group=cast.group, user=cast.volunteer)
    Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(left_at=at)
    return lambda: Availability.objects.of_group(cast.group).exists()


def a_return(cast: Cast, at: Any) -> Callable[[], bool]:
    made = begin_return(cast)
    ReturnNotice.objects.create(
        safe_return=made, round=9, step=1, name="x", email="x@y.example", is_of_pair=True, told_at=at
    )
    rows = SafeReturn.objects.of_group(cast.group).filter(pk=made.pk)
    rows.update(ended_at=at, ended_how="back", ended_by_name="Vera")

    def stands() -> bool:
        found = rows.get()
        words = {
            *(getattr(found, each) for each in limits.CONTACTS),
            *found.events.values_list("actor_name", flat=True),
        }
        told = {bool(each) for each in (found.phone, found.car, found.named_email, found.notices.count())}
        assert told == {bool(words - {""})}, "all of it goes, or nothing"
        return bool(words - {""})

    return stands


def a_draft(cast: Cast, at: Any) -> Callable[[], bool]:
    made = Draft.objects.create(id=uuid4(), group=cast.group, site=cast.site, entered_by=cast.volunteer)
    Draft.objects.of_group(cast.group).update(updated_at=at)
    Photo.objects.create(group=cast.group, visit_number=made.pk, file=a_picture())

    def stands() -> bool:
        there = Draft.objects.of_group(cast.group).exists()
        assert there == Photo.objects.of_group(cast.group).exists()
        return there

    return stands


def a_mail(cast: Cast, at: Any, **fields: Any) -> Callable[[], bool]:
    usual = {"group": cast.group, "state": "failed", "kind": "x", "key": "x", "text": "Words"}
    made = Message.objects.create(**usual | fields, to_address="x@y.example", created_at=at)
    Attempt.objects.create(message=made, succeeded=False, code=None, answer="x@y.example is not here")

    def stands() -> bool:
        found = Message.objects.across_groups("test").get(pk=made.pk)
        assert bool(found.text) == bool(found.to_address) == bool(found.attempts.get().answer)
        assert (found.state == "failed") == bool(found.to_address), "without an address it is not tried again"
        return bool(found.text)

    return stands


def a_mail_of_no_group(cast: Cast, at: Any) -> Callable[[], bool]:
    return a_mail(cast, at, group=None)


def a_session(cast: Cast, at: Any) -> Callable[[], bool]:
    Session.objects.create(session_key="x", session_data="x", expire_date=at + timedelta(days=14))
    return Session.objects.exists


def an_answer(cast: Cast, at: Any) -> Callable[[], bool]:
    KeptAnswer.objects.create(user=cast.volunteer, key="x", request_digest="x")
    KeptAnswer.objects.update(kept_at=at)
    return KeptAnswer.objects.exists


def an_address(cast: Cast, at: Any) -> Callable[[], bool]:
    EntryAddress.objects.create(entry=uuid4(), address="192.0.2.1", at=at)
    return EntryAddress.objects.exists


def a_job(cast: Cast, at: Any) -> Callable[[], bool]:
    file = ContentFile(b"x", name="a.csv")
    made = Job.objects.create(
        group=cast.group, kind="export", label="x", state="done", file=file, file_until=at + timedelta(days=7)
    )
    return lambda: bool(Job.objects.of_group(cast.group).get(pk=made.pk).file)


def a_sheet(cast: Cast, at: Any) -> Callable[[], bool]:
    ImportRun.objects.create(group=cast.group, file_name="x", file=ContentFile(b"x", name="a.csv"))
    ImportRun.objects.of_group(cast.group).update(created_at=at)
    return lambda: ImportRun.objects.of_group(cast.group).exists()


CASES: dict[str, Case] = {
    "invitations": an_invitation,
    "enquiries": an_enquiry,
    "availability": an_availability,
    "returns": a_return,
    "drafts": a_draft,
    "mails": a_mail,
    "own_mails": a_mail_of_no_group,
    "sessions": a_session,
    "keys": an_answer,
    "origins": an_address,
    "work": a_job,
    "sheets": a_sheet,
}


def test_each_kind_with_a_limit_is_tried() -> None:
    assert set(CASES) == set(LIMITED)


@pytest.mark.parametrize("key", sorted(CASES))
def test_it_goes_at_its_limit_and_not_before(cast: Cast, key: str) -> None:
    now = timezone.now()
    limit = LIMITED[key]
    stands = CASES[key](cast, now - timedelta(days=limit.days) + timedelta(minutes=5))
    assert let_go_what_is_due(now) == 0
    assert stands()
    assert let_go_what_is_due(now + timedelta(minutes=10)) >= 1
    assert not stands()
    assert let_go_what_is_due(now + timedelta(minutes=10)) == 0, "it is done once"


def test_the_trail_says_how_much_went_and_never_whose(cast: Cast) -> None:
    a_return(cast, timezone.now() - timedelta(days=31))
    let_go_what_is_due(timezone.now())
    entry = AuditEntry.objects.of_group(cast.group).get(verb="privacy.let_go")
    assert (entry.changes, entry.actor) == ({"returns": [1, 0]}, None)
    assert "Hazel" not in json.dumps(
        list(AuditEntry.objects.of_group(cast.group).values_list("changes", flat=True))
    )


def test_it_goes_in_bounded_batches(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(5):
        a_mail(cast, timezone.now() - timedelta(days=91), key=str(number))
    monkeypatch.setattr(limits, "BATCH", 2)
    monkeypatch.setattr(sweeping, "BATCH", 2)
    monkeypatch.setattr(sweeping, "MOST_BATCHES", 2)
    assert let_go_what_is_due(timezone.now()) == 4
    assert let_go_what_is_due(timezone.now()) == 1


def test_a_group_may_choose_fewer_days(cast: Cast) -> None:
    stands = a_return(cast, timezone.now() - timedelta(days=4))
    KeepingTerms.objects.create(group=cast.neighbour, return_days=3)
    assert let_go_what_is_due(timezone.now()) == 0
    KeepingTerms.objects.create(group=cast.group, return_days=3)
    assert let_go_what_is_due(timezone.now()) == 1
    assert not stands()


def test_a_mail_that_is_still_owed_stays(cast: Cast) -> None:
    made = Message.objects.create(
        group=cast.group,
        kind="x",
        key="x",
        to_address="x@y.example",
        created_at=timezone.now() - timedelta(days=99),
    )
    assert let_go_what_is_due(timezone.now()) == 0
    assert Message.objects.of_group(cast.group).get(pk=made.pk).to_address
