"""The interface called by its own schema, as everybody who may hold a key.

No answer is a fault, outside the schema, or tells of a group that is not the caller's. A few calls here, many
with `make fuzz`.
"""

from __future__ import annotations

import logging
import os
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import pytest
import schemathesis
from django.core.cache import cache as kept_answers
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from hypothesis import HealthCheck, Phase, given, seed, settings
from schemathesis.checks import not_a_server_error
from schemathesis.core.result import Ok
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from portal.tokens.models import Scope
from portal.tokens.services import make_key
from portal.wsgi import application
from tests.access import scene
from tests.access.world import World
from tests.conftest import Cast
from tests.factories import person_for

once, own_scene, cast, world = scene.once, scene.own_scene, scene.cast, scene.world
CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
ROLES = ("volunteer", "coordinator", "reviewer", "contact", "neighbour", "operator")
# Who gets nothing at all of Alder Beck, and words that stand in its rows; the other group's for its own people.
OUTSIDERS = {"contact", "neighbour", "operator"}
OF_THE_GROUP = (
    "Stepping stones",
    "Vera Example",
    "Owen Example",
    "vera@example.org",
    "Our list",
    "Ona Officer",
)
OF_THE_OTHER = (
    "Withy ford",
    "Withy Brook Watch",
    "Noel Example",
    "Nora Example",
    "nora@example.org",
    "Una Upland",
)
EXAMPLES, SEED = int(os.environ.get("EXAMPLES", "25")), int(os.environ.get("SEED", "1"))


@dataclass(frozen=True)
class Caller:
    """Whoever holds the key, what it is for, and what must stand in no answer."""

    role: str
    scopes: Sequence[str]

    def __str__(self) -> str:
        return self.role if len(self.scopes) > 1 else f"{self.role} with {self.scopes[0]}"

    @property
    def hidden(self) -> tuple[str, ...]:
        if self.role == "neighbour":
            return OF_THE_GROUP
        return OF_THE_GROUP + OF_THE_OTHER if self.role in OUTSIDERS else OF_THE_OTHER


CALLERS = [Caller(role, tuple(Scope.values)) for role in ROLES]
CALLERS += [Caller("coordinator", (scope,)) for scope in Scope.values]


@pytest.fixture
def kept_connection() -> Iterator[None]:
    """Django closes its connection after a request, and with it the test's own."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@cache
def all_operations() -> list[Any]:
    """Read once from the schema, which says the same to everybody."""
    told = schemathesis.openapi.from_wsgi("/api/schema/?format=json", application)
    return [result.ok() for result in told.get_all_operations() if isinstance(result, Ok)]


def call(operation: Any, known: dict[str, str], caller: Caller, key: str, examples: int) -> Counter[int]:
    """Call one operation with what its schema allows and what it does not; the statuses of the answers.

    What it changes is taken back.
    """
    seen = Counter[int]()

    @seed(SEED)
    @settings(
        max_examples=examples,
        deadline=None,
        database=None,
        phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy())
    def ask(case: Any) -> None:
        kept_answers.clear()
        asked = case.path_parameters or {}
        case.path_parameters = {name: known.get(name, each) for name, each in asked.items()}
        with transaction.atomic():
            answer = case.call_and_validate(headers={"Authorization": f"Bearer {key}"}, checks=CHECKS)
            transaction.set_rollback(True)
        seen[answer.status_code] += 1
        text = answer.content.decode(errors="replace")
        told = [word for word in caller.hidden if word in text]
        assert not told, f"{operation.label} tells {caller} of {told}"

    ask()
    return seen


def call_all(world: World, caller: Caller, examples: int) -> Counter[int]:
    user = world.people[caller.role]
    assert user is not None
    key = make_key(
        person=person_for(user), name="Schema", scopes=caller.scopes, days=1, with_second_factor=True
    )
    known = {name: str(value) for name, value in world.values.items()}
    seen = Counter[int]()
    operations = all_operations()
    assert len(operations) > 20
    for operation in operations:
        seen += call(operation, known, caller, key.text, examples)
    return seen


@pytest.mark.parametrize("caller", CALLERS, ids=str)
def test_no_answer_is_a_fault_outside_the_schema_or_of_another_group(
    world: World, kept_connection: None, caller: Caller, record_property: Any
) -> None:
    seen = call_all(world, caller, 3 if caller in CALLERS[:2] else 1)
    record_property("counted calls of the interface by its schema", sum(seen.values()))
    assert seen[200] or not any(scope.startswith("read:") for scope in caller.scopes), seen
    assert seen[403] + seen[404] + seen[400] + seen[422]


def test_a_word_of_another_group_would_be_noticed(
    cast: Cast, world: World, kept_connection: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tests.surveys.api.test_schema_calls.OF_THE_OTHER", ("Stepping stones",))
    (sites,) = [each for each in all_operations() if each.label == "GET /api/v1/groups/{slug}/sites/"]
    key = make_key(person=cast.person("volunteer"), name="Schema", scopes=Scope.values, days=1)
    with pytest.raises(AssertionError, match="tells volunteer of"):
        call(sites, {"slug": cast.group.slug}, CALLERS[0], key.text, 5)


@pytest.mark.parametrize("caller", CALLERS, ids=str)
def fuzz_the_interface(world: World, kept_connection: None, caller: Caller) -> None:
    """`make fuzz`."""
    logging.disable(logging.CRITICAL)
    seen = call_all(world, caller, EXAMPLES)
    codes = ", ".join(f"{code}: {times:,}" for code, times in sorted(seen.items()))
    print(f"\n{caller}: {sum(seen.values()):,} calls ({codes})")
