"""After an erasure nothing in the database and no file names the person; figures are as they were."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import connection
from django.utils import timezone

from alerts.chain.checking import check_chain
from portal.accounts.models import Membership, User
from portal.accounts.services import choose_naming
from portal.audit.gaps import all_unexplained_changes
from portal.audit.models import AuditEntry, RowChange
from portal.audit.parts import part_digest
from portal.jobs.models import Job
from portal.outbox.models import Message
from portal.privacy.blocking import whatever_must_come_first
from portal.privacy.erasing import erase_person
from portal.reports.models import YearlyReport
from surveys.models import Draft, SafeReturn, Visit, VisitScore
from surveys.people.services.records import leave_group
from tests.alerts.conftest import make_watch, the_incident
from tests.conftest import Cast
from tests.factories import member_of, person_for
from tests.people.making import membership_of
from tests.privacy.making import act_as, keep_everything_of
from tests.surveys.outings.returning import begin_return

# Texts that may name somebody for good, each with the reason.
LEFT = {
    ("reports_yearlyreport", "data"): "published: frozen with its digest",
    ("reports_yearlyreport", "foreword"): "published: frozen with its digest",
}
COLUMNS = """
SELECT table_name, column_name FROM information_schema.columns
WHERE table_schema = current_schema()
AND (data_type IN ('text', 'character varying', 'jsonb', 'json', 'ARRAY', 'bytea') OR data_type LIKE 'char%%')
"""


@pytest.fixture(autouse=True)
def media(settings: LazySettings, tmp_path: Path) -> Path:
    settings.MEDIA_ROOT = tmp_path
    return tmp_path


def columns() -> list[tuple[str, str]]:
    with connection.cursor() as cursor:
        cursor.execute(COLUMNS)
        return [(table, column) for table, column in cursor.fetchall()]


def places_with(words: set[str]) -> Iterator[tuple[str, str, str]]:
    """Table, column and word, wherever one of the words stands; every text column of every table is read."""
    pattern = "|".join(sorted("".join(c if c.isalnum() else f"\\{c}" for c in each) for each in words))
    with connection.cursor() as cursor:
        for table, column in columns():
            cursor.execute(
                f'SELECT "{column}"::text FROM "{table}" WHERE "{column}"::text ~* %s LIMIT 3', [pattern]
            )
            for (text,) in cursor.fetchall():
                yield table, column, next(each for each in words if each.lower() in text.lower())


def files_with(words: set[str], folder: Path) -> list[str]:
    return [
        str(path)
        for path in folder.rglob("*")
        if path.is_file() and any(each.encode() in path.read_bytes() for each in words)
    ]


def figures(cast: Cast) -> list[Any]:
    """What is known of the river: visits with their scores, counts and verdicts."""
    visits = Visit.objects.of_group(cast.group).order_by("pk")
    told = ("pk", "site", "visited_on", "status", "position_latitude", "recorder_id", "partner_id")
    scores = VisitScore.objects.of_group(cast.group).order_by("pk")
    return [*visits.values_list(*told), *scores.values_list("visit", "index", "value", "is_current")]


def test_it_leaves_no_word_of_the_person_in_any_table_or_file(cast: Cast, media: Path) -> None:
    watch = make_watch(cast)
    other = member_of(cast.group, name="Olga Marsh", email="olga@example.org")
    watch.submit_low("volunteer", pollution_signs="grey")
    marked, kept = keep_everything_of(cast.volunteer, cast), keep_everything_of(other, cast)
    user = marked.user
    act_as(user, cast, the_incident())
    _scatter(user, cast)
    _change_and_forget(user, cast)
    words = marked.to_go | {user.email, "mynoteofbefore", "0123 777777"}
    before, trail = figures(cast), AuditEntry.objects.of_group(cast.group).count()
    assert check_chain(the_incident()).broken == ""
    # The test sees what is to go, or it would show nothing.
    assert len({word for _table, _column, word in places_with(words)}) > 20
    assert files_with(words, media)
    assert {("audit_rowchange", "before"), ("audit_auditentry", "actor_name")} <= {
        (table, column) for table, column, _word in places_with(words)
    }

    pseudonym = erase_person(User.objects.get(pk=user.pk))
    connection.check_constraints()
    left = {(table, column, word) for table, column, word in places_with(words)}
    assert not {each for each in left if each[:2] not in LEFT}, left
    assert figures(cast) == before
    assert AuditEntry.objects.of_group(cast.group).count() > trail
    assert check_chain(the_incident()).broken == ""
    for word in kept.words:
        assert any(True for _found in places_with({word})), f"{word} was another's"
    assert User.objects.get(pk=user.pk).name == pseudonym
    assert not User.objects.get(pk=user.pk).is_active


def _scatter(user: User, cast: Cast) -> None:
    """The name where nothing points from the row to the person: mails, drafts of others, sheets, notes."""
    Message.objects.create(
        group=cast.group,
        key="x",
        kind="x",
        to_address="una@agency.example",
        subject=f"Seen by {user.name}",
        text="x",
    )
    other = cast.coordinator
    Draft.objects.create(
        id="0b0f1c9e-8f5c-4bb0-9c5e-0d6c3a1e2f77",
        group=cast.group,
        site=cast.site,
        entered_by=other,
        data={"partner_name": user.name, "notes": [f"with {user.name.upper()}, {user.phone}"]},
    )
    Job.objects.create(
        group=cast.group,
        kind="export",
        started_by=other,
        label="x",
        state="done",
        file=ContentFile(user.name.encode(), name="a.csv"),
    )
    report = {
        "group": cast.group,
        "year": 2025,
        "data": {"thanked": [user.name]},
        "foreword": f"Thanks, {user.name}",
    }
    YearlyReport.objects.create(**report, state="published", identifier="x")
    YearlyReport.objects.create(
        **report, edition=2, state="ready", file=ContentFile(user.name.encode(), name="r.pdf")
    )
    Visit.objects.of_group(cast.group).filter(recorder=other).update(notes=f"{user.name} fell ill")


def _change_and_forget(user: User, cast: Cast) -> None:
    """What stood in rows of before: changed, then deleted; only the history of rows knows it."""
    from surveys.people.models import OtherHours

    own = membership_of(user, cast.group)
    gone = OtherHours.objects.create(
        membership=own, day=timezone.localdate(), work="kit", hours=1, note="mynoteofbefore"
    )
    gone.note = "mynoteofbefore, mended"
    gone.save()
    gone.delete()
    Visit.objects.of_group(cast.group).filter(partner=user).update(partner_name="mynoteofbefore")
    Visit.objects.of_group(cast.group).filter(partner=user).update(partner_name="else")
    before = RowChange.objects.filter(table="people_otherhours", operation="deleted")
    assert "mynoteofbefore" in json.dumps(list(before.values_list("before", flat=True)))


def test_the_proof_stays_that_something_stood_there(cast: Cast) -> None:
    keep_everything_of(cast.volunteer, cast)
    act_as(cast.volunteer, cast)
    entries = list(AuditEntry.objects.of_group(cast.group).filter(actor=cast.volunteer))
    digests = {
        (each.pk, part): part_digest(each, part) for each in entries for part in ("actor_name", "changes")
    }
    erase_person(cast.volunteer)
    for each in AuditEntry.objects.of_group(cast.group).filter(pk__in=[each.pk for each in entries]):
        assert each.actor_name.startswith("Volunteer ")
        for part in ("actor_name", "changes"):
            assert part_digest(each, part) == digests[each.pk, part]
    assert not all_unexplained_changes().filter(table="accounts_membership").exists()


def test_the_pseudonym_is_drawn_and_nobody_elses(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = iter(["7f3a", "7f3a", "0c11"])
    monkeypatch.setattr("portal.privacy.erasing.secrets.token_hex", lambda _size: next(drawn))
    assert erase_person(cast.volunteer) == "Volunteer 7f3a"
    assert erase_person(cast.other_volunteer) == "Volunteer 0c11"


def test_a_namesake_keeps_their_name(cast: Cast) -> None:
    namesake = member_of(cast.group, name=cast.volunteer.name, email="vera2@example.org")
    other = Visit.objects.create(
        group=cast.group,
        site=cast.site,
        recording_list=cast.site.recording_list,
        visited_on=timezone.localdate(),
        entered_by=cast.coordinator,
        recorder=namesake,
        recorder_name=namesake.name,
        submitted_at=timezone.now(),
    )
    erase_person(cast.volunteer)
    other.refresh_from_db()
    assert other.recorder_name == namesake.name
    assert User.objects.get(pk=namesake.pk).name == namesake.name


def test_memberships_end_and_nothing_is_sent_any_more(cast: Cast) -> None:
    choose_naming(
        person=cast.person("volunteer"), membership=membership_of(cast.volunteer, cast.group), show_name=True
    )
    owed = Message.objects.create(
        group=cast.group, key="x", kind="x", to_address=cast.volunteer.email, subject="x", text="x"
    )
    erase_person(cast.volunteer)
    own = Membership.objects.of_group(cast.group).get(user=cast.volunteer)
    assert own.left_at
    assert not own.show_name
    assert not Message.objects.of_group(cast.group).filter(pk=owed.pk).exists()


def test_the_only_coordinator_must_hand_over_first(cast: Cast) -> None:
    leave_group(
        person=cast.person("second_coordinator"), membership=membership_of(cast.second_coordinator, cast.group)
    )
    with pytest.raises(ValidationError, match="no coordinator but you"):
        erase_person(cast.coordinator)
    assert User.objects.get(pk=cast.coordinator.pk).email == cast.coordinator.email


def test_who_is_out_comes_back_first(cast: Cast) -> None:
    running = begin_return(cast)
    for user in (cast.volunteer, cast.other_volunteer):
        assert whatever_must_come_first(user), user
    assert not whatever_must_come_first(cast.second_coordinator)
    SafeReturn.objects.of_group(cast.group).filter(pk=running.pk).update(
        ended_at=timezone.now(), ended_how="back"
    )
    assert not whatever_must_come_first(cast.volunteer)


def test_whoever_is_told_of_incidents_is_taken_off_that_list_first(cast: Cast) -> None:
    watch = make_watch(cast)
    type(watch.first).objects.of_group(cast.group).filter(pk=watch.first.pk).update(
        email=cast.volunteer.email.upper()
    )
    with pytest.raises(ValidationError, match="tells you of incidents"):
        erase_person(cast.volunteer)
    assert person_for(cast.volunteer).is_signed_in
