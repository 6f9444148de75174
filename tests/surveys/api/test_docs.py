"""The page for whoever writes a program, and the interface called by its own schema."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from django.test import Client
from hypothesis import HealthCheck, given, settings
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
from surveys.views.api_docs import operations
from tests.access.world import World, build_world
from tests.conftest import Cast

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]


def test_the_page_tells_every_operation_with_its_examples(db: None) -> None:
    page = Client().get("/api/docs/").content.decode()
    assert {each.number for each in operations()} >= {"visits_submit", "exports_request", "incidents_note"}
    assert all(f'id="{each.number}"' in page for each in operations())
    assert "accept_findings_reason" in page


@pytest.fixture
def world(cast: Cast, settings: Any, tmp_path: Any) -> World:
    settings.MEDIA_ROOT = tmp_path
    return build_world(cast)


@pytest.fixture
def kept_connection() -> Iterator[None]:
    """Django closes its connection after a request, and with it the test's own."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


def call(operation: Any, known: dict[str, str], key: str, examples: int) -> None:
    """Call one operation with what its schema allows and what it does not; changes are taken back."""

    @settings(max_examples=examples, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy())
    def ask(case: Any) -> None:
        case.path_parameters = {
            name: known.get(name, each) for name, each in (case.path_parameters or {}).items()
        }
        with transaction.atomic():
            case.call_and_validate(headers={"Authorization": f"Bearer {key}"}, checks=CHECKS)
            transaction.set_rollback(True)

    ask()


@pytest.mark.parametrize("who", ["volunteer", "coordinator"])
@pytest.mark.parametrize("examples", [4, pytest.param(60, marks=pytest.mark.long)])
def test_no_answer_is_a_fault_or_outside_the_schema(
    cast: Cast, world: World, kept_connection: None, who: str, examples: int
) -> None:
    key = make_key(person=cast.person(who), name="Schema", scopes=Scope.values, days=1)
    known = {name: str(value) for name, value in world.values.items()}
    told = schemathesis.openapi.from_wsgi("/api/schema/?format=json", application)
    operations = [result.ok() for result in told.get_all_operations() if isinstance(result, Ok)]
    assert len(operations) > 20
    for operation in operations:
        call(operation, known, key.text, examples)
