"""`migrate` runs while code of the last release serves: a new migration takes nothing away from it."""

from __future__ import annotations

import pytest

from tests.house.migrating import EXCUSE, dangers, new_migrations, statements_of, unexcused

BEGIN = "BEGIN;"


# Not in a transaction: indexes that are made while others write refuse to be told in one.
@pytest.mark.django_db(transaction=True)
def test_no_new_migration_takes_anything_from_the_code_that_still_serves() -> None:
    found = {f"{each.app_label}.{each.name}": unexcused(each) for each in new_migrations()}
    assert {name: codes for name, codes in found.items() if codes} == {}


# Not in a transaction: indexes that are made while others write refuse to be told in one.
@pytest.mark.django_db(transaction=True)
def test_an_excuse_is_for_something() -> None:
    for each in new_migrations():
        excuses = getattr(each, "with_old_code", {})
        assert set(excuses) <= dangers(statements_of(each)), each
        assert all(EXCUSE.match(why) for why in excuses.values()), each


@pytest.mark.parametrize(
    ("code", "statements"),
    [
        ("DROP_COLUMN", ['ALTER TABLE "v" DROP COLUMN "notes" CASCADE;']),
        ("RENAME_COLUMN", ['ALTER TABLE "v" RENAME COLUMN "notes" TO "words";']),
        ("RENAME_TABLE", ['ALTER TABLE "v" RENAME TO "w";']),
        ("DROP_TABLE", ['DROP TABLE "v" CASCADE;']),
        ("SET_NOT_NULL", ['ALTER TABLE "v" ALTER COLUMN "notes" SET NOT NULL;']),
        # As Django adds a field whose default only Python knows.
        (
            "NOT_NULL",
            [
                'ALTER TABLE "v" ADD COLUMN "n" int DEFAULT 0 NOT NULL;',
                'ALTER TABLE "v" ALTER COLUMN "n" DROP DEFAULT;',
            ],
        ),
        ("CREATE_INDEX", ['CREATE INDEX "i" ON "v" ("n");']),
        ("ADD_UNIQUE", ['ALTER TABLE "v" ADD CONSTRAINT "u" UNIQUE ("n");']),
        ("ADD_CONSTRAINT", ['ALTER TABLE "v" ADD CONSTRAINT "c" CHECK (n > 0);']),
        ("ADD_CONSTRAINT", ['ALTER TABLE "v" ADD CONSTRAINT "f" FOREIGN KEY ("n") REFERENCES "w" ("id");']),
        ("ALTER_COLUMN", ['ALTER TABLE "v" ALTER COLUMN "n" TYPE smallint;']),
    ],
)
def test_what_old_code_would_not_live_with_is_found(code: str, statements: list[str]) -> None:
    assert code in dangers([BEGIN, *statements])


@pytest.mark.parametrize(
    "statements",
    [
        [BEGIN, 'ALTER TABLE "v" ADD COLUMN "n" int DEFAULT 0 NOT NULL;'],
        [BEGIN, 'ALTER TABLE "v" ADD COLUMN "n" int NULL;'],
        ['CREATE INDEX CONCURRENTLY "i" ON "v" ("n");'],
        [BEGIN, 'CREATE TABLE "v" ("n" int NOT NULL);', 'CREATE INDEX "i" ON "v" ("n");'],
        [BEGIN, 'CREATE TABLE "v" ("n" int);', 'ALTER TABLE "v" ADD CONSTRAINT "c" CHECK (n > 0);'],
        [BEGIN, 'ALTER TABLE "v" ADD CONSTRAINT "c" CHECK (n > 0) NOT VALID;'],
    ],
)
def test_what_old_code_does_not_mind_passes(statements: list[str]) -> None:
    assert dangers(statements) == set()


@pytest.mark.parametrize("excuse", ["", "because", "0.3", "0.3: fine"])
def test_an_excuse_names_a_release_and_a_reason(excuse: str) -> None:
    assert not EXCUSE.match(excuse)
    assert EXCUSE.match("0.3: nothing has written it since 0.2.")
