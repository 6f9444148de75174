"""The chain over the trail: what was sealed is known again by anybody, and whatever breaks it is named."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction

from portal.audit import verifying
from portal.audit.breaks import Kind
from portal.audit.links import row_digest, seal_of
from portal.audit.models import AuditEntry, Link, RowChange, Waiting
from portal.audit.parts import take_out
from portal.audit.sealing import Head, head, seal_waiting, unsealed
from portal.audit.services import record_change
from portal.audit.verifying import Witness, verify_trail
from tests.conftest import Cast
from tests.emptying import past_triggers

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("by_owner")]
NUMBER = 8


def tamper(sql: str, *values: Any) -> None:
    """One statement of a superuser; it must meet a row."""
    with past_triggers(), connection.cursor() as cursor:
        cursor.execute(sql, values)
        assert cursor.rowcount, "nothing was tampered with"


@pytest.fixture
def sealed(cast: Cast) -> list[Link]:
    """The links of eight entries at the end of the chain, in the order of the entries."""
    seal_waiting()
    for number in range(NUMBER):
        reason = f"Seen {number} times."
        record_change(actor=cast.person("coordinator"), verb="site.seen", thing=cast.site, reason=reason)
    seal_waiting()
    return list(Link.objects.order_by("-number")[:NUMBER])[::-1]


def entry_of(link: Link) -> AuditEntry:
    assert link.entry is not None, "it is the link of a row of the history"
    return AuditEntry.objects.across_groups("test").get(pk=link.entry)


def broken() -> tuple[int | None, str, str]:
    found = verify_trail().broken
    assert found, "nothing was found"
    return found.number, found.kind, found.words


def test_it_is_whole_and_holds_trail_and_history(sealed: list[Link]) -> None:
    found = verify_trail()
    assert found.broken is None
    assert found.links == AuditEntry.objects.across_groups("test").count() + RowChange.objects.count()
    assert found.end == Head(sealed[-1].number, sealed[-1].seal)
    assert (found.waiting.rows, Waiting.objects.count()) == (0, 0)


def test_anybody_can_recompute_it_from_the_description(sealed: list[Link]) -> None:
    """By the docstring of `links` alone, with nothing of ours."""

    def sha(text: str) -> str:
        return hashlib.sha256(text.encode("utf-8")).hexdigest()

    def told(value: Any) -> str:
        return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)

    seal = Link.objects.get(number=sealed[0].number - 1).seal
    for link in sealed:
        row = AuditEntry.objects.across_groups("test").values().get(pk=entry_of(link).pk)
        parts = {
            part: sha(told([sha(f"{link.entry}:{part}"), row[part]]))
            for part in ("actor_name", "changes", "reason", "way_detail")
        }
        form = parts | {
            "row": "entry",
            "id": str(link.entry),
            "at": row["at"].strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
            "group": str(row["group_id"]),
            "actor": str(row["actor_id"]),
            **{name: row[name] for name in ("verb", "object_type", "transaction", "way")},
            "object_id": str(row["object_id"]),
        }
        assert sha(told(form)) == link.digest
        seal = sha(seal + told({"digest": link.digest, "number": link.number}))
        assert seal == link.seal


def alter(links: list[Link]) -> None:
    tamper("UPDATE audit_auditentry SET reason = 'Never seen.' WHERE id = %s", links[2].entry)


def alter_time(links: list[Link]) -> None:
    tamper("UPDATE audit_auditentry SET at = at - interval '1 day' WHERE id = %s", links[2].entry)


def alter_with_its_link(links: list[Link]) -> None:
    alter(links)
    digest = row_digest(entry_of(links[2]))
    tamper("UPDATE audit_link SET digest = %s WHERE number = %s", digest, links[2].number)


def alter_with_its_seal(links: list[Link]) -> None:
    alter_with_its_link(links)
    link = Link.objects.get(number=links[2].number)
    seal = seal_of(links[1].seal, link.number, link.digest)
    tamper("UPDATE audit_link SET seal = %s WHERE number = %s", seal, link.number)


def remove_entry(links: list[Link]) -> None:
    tamper("DELETE FROM audit_auditentry WHERE id = %s", links[2].entry)


def remove_link(links: list[Link]) -> None:
    remove_entry(links)
    tamper("DELETE FROM audit_link WHERE number = %s", links[2].number)


def insert_link(links: list[Link]) -> None:
    """A link of its own in the middle, and all that follow moved on by one."""
    for link in reversed(links[2:]):
        tamper("UPDATE audit_link SET number = number + 1 WHERE number = %s", link.number)
    slip_in(links)
    added = AuditEntry.objects.across_groups("test").get(verb="site.slipped_in")
    digest, number = row_digest(added), links[2].number
    seal = seal_of(links[1].seal, number, "0" * 64)
    values = (number, added.pk, digest, seal)
    tamper("INSERT INTO audit_link (number, entry, digest, seal) VALUES (%s, %s, %s, %s)", *values)


def slip_in(links: list[Link]) -> None:
    tamper(
        "INSERT INTO audit_auditentry (id, at, actor_name, verb, object_type, object_id, changes, reason) "
        "SELECT gen_random_uuid(), at, actor_name, 'site.slipped_in', object_type, object_id, changes, '' "
        "FROM audit_auditentry WHERE id = %s",
        links[2].entry,
    )


def swap_links(links: list[Link]) -> None:
    one, other = links[2].number, links[5].number
    for old, new in ((one, -1), (other, one), (-1, other)):
        tamper("UPDATE audit_link SET number = %s WHERE number = %s", new, old)


def swap_entries(links: list[Link]) -> None:
    one, other = links[2], links[5]
    tamper("UPDATE audit_link SET entry = NULL, change = -1 WHERE number = %s", other.number)
    tamper("UPDATE audit_link SET entry = %s WHERE number = %s", other.entry, one.number)
    tamper("UPDATE audit_link SET entry = %s, change = NULL WHERE number = %s", one.entry, other.number)


def cut_links(links: list[Link]) -> None:
    tamper("DELETE FROM audit_link WHERE number >= %s", links[2].number)


# What was done, the place of the broken link among the eight (None: no link), the kind, words of the sentence.
BREAKS: dict[Callable[[list[Link]], None], tuple[int | None, Kind, str]] = {
    alter: (2, Kind.ALTERED, "entry “site.seen”"),
    alter_time: (2, Kind.ALTERED, "altered after it was sealed"),
    alter_with_its_link: (2, Kind.ALTERED, "does not follow from the one before"),
    alter_with_its_seal: (3, Kind.ALTERED, "does not follow from the one before"),
    remove_entry: (2, Kind.REMOVED, "was removed (it had the number"),
    remove_link: (2, Kind.REMOVED, "is missing"),
    insert_link: (2, Kind.INSERTED, "was inserted"),
    slip_in: (None, Kind.INSERTED, "neither sealed nor waiting"),
    swap_links: (2, Kind.REORDERED, "reordered"),
    swap_entries: (2, Kind.REORDERED, "each stands for the other's row"),
    cut_links: (None, Kind.INSERTED, "its link was cut off"),
}


@pytest.mark.parametrize("act", BREAKS, ids=lambda act: act.__name__)
def test_it_names_the_first_broken_link(sealed: list[Link], act: Callable[[list[Link]], None]) -> None:
    place, kind, words = BREAKS[act]
    act(sealed)
    number, found, told = broken()
    assert number == (None if place is None else sealed[place].number)
    assert (found, words in told) == (kind, True), told


def test_a_changed_row_of_the_history_is_named_as_well(sealed: list[Link]) -> None:
    link = Link.objects.exclude(change=None).order_by("number")[1]
    tamper("UPDATE audit_rowchange SET database_user = 'nobody' WHERE id = %s", link.change)
    number, kind, words = broken()
    assert (number, kind) == (link.number, Kind.ALTERED)
    assert "the history of" in words


def cut_the_end(links: list[Link]) -> None:
    cut_links(links)
    tamper("DELETE FROM audit_auditentry WHERE id = ANY(%s)", [each.entry for each in links[2:]])


def test_an_end_that_was_cut_off_is_known_to_whoever_kept_its_head(sealed: list[Link]) -> None:
    kept = Witness("The backup of Monday", head())
    assert verify_trail(seen=[kept]).broken is None
    cut_the_end(sealed)
    assert verify_trail().broken is None, "the chain itself cannot tell: it is as it was earlier"
    found = verify_trail(seen=[kept]).broken
    assert found is not None
    assert (found.number, found.kind) == (kept.head.number, Kind.CUT)
    assert found.words.startswith("The backup of Monday knows of link")


def test_a_chain_that_was_made_anew_is_known_to_whoever_kept_its_head(sealed: list[Link]) -> None:
    kept = Witness("The report", head())
    cut_links(sealed)
    alter(sealed)
    Waiting.objects.bulk_create(Waiting(entry=each.entry) for each in sealed[2:])
    seal_waiting()
    assert verify_trail().broken is None
    found = verify_trail(seen=[kept]).broken
    assert found is not None
    assert found.kind == Kind.REWRITTEN


def test_it_asks_the_witnesses_of_the_apps_above(sealed: list[Link], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(verifying, "_witnesses", [lambda: [Witness("Report R1", head())]])
    assert verify_trail().witnesses == 1
    monkeypatch.setattr(verifying, "_witnesses", [lambda: [Witness("Report R1", Head(10**6, "0" * 64))]])
    assert "Report R1 knows of link 1000000" in broken()[2]


def test_it_goes_on_from_a_head_known_to_be_good(sealed: list[Link]) -> None:
    start = Head(sealed[3].number, sealed[3].seal)
    found = verify_trail(start)
    assert (found.links, found.broken) == (NUMBER - 4, None)
    alter(sealed)
    assert verify_trail(start).broken is None, "what is before the start was not asked for"
    wrong = verify_trail(Head(start.number, "0" * 64)).broken
    assert wrong is not None
    assert wrong.words.endswith("The head that you start from has seen: the chain was made anew.")


def test_small_pieces_find_the_same(sealed: list[Link], monkeypatch: pytest.MonkeyPatch) -> None:
    alter(sealed)
    whole = verify_trail()
    monkeypatch.setattr(verifying, "PIECE", 3)
    pieces = verify_trail()
    assert (pieces.links, pieces.broken) == (whole.links, whole.broken)


def test_a_name_lawfully_taken_out_breaks_nothing(sealed: list[Link]) -> None:
    entry = entry_of(sealed[2])
    for part in ("actor_name", "reason", "way_detail"):
        take_out(entry, part, "taken out")
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL audit.erasing = 'on'")
        entry.save(update_fields=["actor_name", "reason", "way_detail", "erased"])
    found = verify_trail()
    assert (found.broken, found.erased) == (None, 1)


def test_a_row_removed_before_it_was_sealed_is_missed(sealed: list[Link], cast: Cast) -> None:
    entry = record_change(actor=None, verb="site.seen", thing=cast.site)
    tamper("DELETE FROM audit_auditentry WHERE id = %s", entry.pk)
    seal_waiting()
    assert unsealed().rows == 1
    assert broken()[1:] == (Kind.REMOVED, broken()[2])
    assert "removed before it was sealed" in broken()[2]


@pytest.mark.parametrize("table", ["audit_auditentry", "audit_rowchange", "audit_link"])
@pytest.mark.parametrize("statement", ["DELETE FROM {}", "TRUNCATE {}", "UPDATE {} SET {} = {}"])
def test_the_owner_of_the_tables_changes_nothing(sealed: list[Link], table: str, statement: str) -> None:
    """The tests' own account owns the tables and is a superuser on top."""
    column = {"audit_auditentry": "verb", "audit_rowchange": "at", "audit_link": "seal"}[table]
    with connection.cursor() as cursor:
        # PostgreSQL empties no table while a foreign key still waits for its check.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        with pytest.raises(IntegrityError, match="only ever added"), transaction.atomic():
            cursor.execute(statement.format(table, column, column))


def test_the_command_is_content_and_tells_the_head(
    sealed: list[Link], cast: Cast, capsys: pytest.CaptureFixture[str]
) -> None:
    record_change(actor=None, verb="site.seen", thing=cast.site)
    call_command("verify_trail", f"--from={sealed[1].number}:{sealed[1].seal}", f"--head={head()}")
    told = capsys.readouterr().out
    assert "1 of the newest rows are not sealed yet" in told
    assert f"Links up to {sealed[1].number} were taken as good." in told
    assert f"{NUMBER - 2} links, none broken; 1 heads kept elsewhere fit." in told
    assert f"The chain ends at {head()}" in told


def test_the_command_fails_and_names_the_link(sealed: list[Link]) -> None:
    remove_entry(sealed)
    with pytest.raises(CommandError, match=f"link {sealed[2].number}, sealed on .* was removed"):
        call_command("verify_trail")


def test_the_command_refuses_what_is_no_head() -> None:
    with pytest.raises(CommandError, match=r"is no head of the chain\. It looks like NUMBER:SEAL"):
        call_command("verify_trail", "--head=12")


def seal_kept(_previous: str, number: int, _digest: str) -> str:
    return Link.objects.get(number=number).seal


def digest_kept(row: AuditEntry | RowChange) -> str:
    return Link.objects.get(**{"entry" if isinstance(row, AuditEntry) else "change": row.pk}).digest


# A check that is taken out, with what stands for it, and what then goes by unseen.
TAKEN_OUT: dict[str, tuple[Any, tuple[Callable[[list[Link]], None], ...]]] = {
    "seal_of": (seal_kept, (alter_with_its_link, alter_with_its_seal)),
    "row_digest": (digest_kept, (alter, alter_time)),
    "_left_out": (lambda: iter(()), (slip_in, cut_links)),
    "_held_against": (lambda _witness: iter(()), (cut_the_end,)),
}


@pytest.mark.parametrize("check", TAKEN_OUT)
def test_each_check_is_needed(sealed: list[Link], check: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Negative control: without the check, what it is for is not found."""
    stand_in, acts = TAKEN_OUT[check]
    kept = Witness("The backup", head())
    for act in acts:
        with transaction.atomic():
            act(sealed)
            assert verify_trail(seen=[kept]).broken is not None
            with monkeypatch.context() as patch:
                patch.setattr(verifying, check, stand_in)
                if act is cut_links:
                    patch.setattr(verifying, "_held_against", lambda _witness: iter(()))
                assert verify_trail(seen=[kept]).broken is None, act.__name__
            transaction.set_rollback(True)
