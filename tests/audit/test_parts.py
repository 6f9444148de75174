"""A name can be taken out of the trail, by its digest and in no other way."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, connection, transaction

from portal.audit.models import AuditEntry, RowChange
from portal.audit.parts import PARTS, part_digest, take_out
from portal.audit.services import record_change
from tests.conftest import Cast


@pytest.fixture
def entry(cast: Cast) -> AuditEntry:
    made = record_change(
        actor=cast.person("volunteer"),
        verb="site.seen",
        thing=cast.site,
        changes={"who": [None, "Ada"]},
        reason="x",
    )
    made.refresh_from_db()
    return made


def save(row: AuditEntry | RowChange, *fields: str, erasing: bool = True) -> None:
    with transaction.atomic():
        if erasing:
            with connection.cursor() as cursor:
                cursor.execute("SET LOCAL audit.erasing = 'on'")
        row.save(update_fields=fields)


def test_a_part_that_was_taken_out_keeps_its_digest(entry: AuditEntry) -> None:
    digests = [part_digest(entry, each) for each in PARTS]
    take_out(entry, "actor_name", "Volunteer 7f3a")
    take_out(entry, "changes", {"who": [None, "Volunteer 7f3a"]})
    save(entry, "actor_name", "changes", "erased")
    entry.refresh_from_db()
    assert (entry.actor_name, entry.reason) == ("Volunteer 7f3a", "x")
    assert [part_digest(entry, each) for each in PARTS] == digests
    take_out(entry, "actor_name", "Volunteer 0000")
    assert part_digest(entry, "actor_name") == digests[0], "a second taking out must keep the first digest"


def test_equal_words_of_two_entries_have_digests_of_their_own(entry: AuditEntry, cast: Cast) -> None:
    other = record_change(actor=cast.person("volunteer"), verb="site.seen", thing=cast.site)
    assert part_digest(entry, "actor_name") != part_digest(other, "actor_name")


def test_the_database_refuses_it_outside_an_erasure(entry: AuditEntry) -> None:
    take_out(entry, "actor_name", "Volunteer 7f3a")
    with pytest.raises(IntegrityError, match="only ever added"):
        save(entry, "actor_name", "erased", erasing=False)


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"actor_name": "Somebody"}, "without its digest"),
        ({"actor_name": "Somebody", "erased": {"actor_name": "soon"}}, "with no digest"),
        ({"verb": "site.sold"}, "what is no part"),
        ({"erased": {}}, "a digest that was kept"),
    ],
    ids=["no_digest", "false_digest", "no_part", "digest_lost"],
)
def test_the_database_refuses_to_change(entry: AuditEntry, fields: dict[str, object], why: str) -> None:
    if "erased" in fields and not fields["erased"]:
        take_out(entry, "reason", "")
        save(entry, "reason", "erased")
    for name, value in fields.items():
        setattr(entry, name, value)
    with pytest.raises(IntegrityError, match="only ever added"):
        save(entry, *fields)
