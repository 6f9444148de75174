"""The schema of the interface: complete, without warnings, and true to what is answered."""

from __future__ import annotations

from io import StringIO
from typing import Any

import pytest
import yaml
from django.core.management import call_command
from rest_framework.test import APIClient


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    out = StringIO()
    # Fails on the first warning: a view without a serializer, a clash of names.
    call_command("spectacular", "--validate", "--fail-on-warn", stdout=out)
    found: dict[str, Any] = yaml.safe_load(out.getvalue())
    return found


def test_it_describes_every_address(schema: dict[str, Any]) -> None:
    group = "/api/v1/groups/{slug}"
    assert {
        "/api/v1/groups/",
        f"{group}/sites/",
        f"{group}/lists/",
        f"{group}/visits/",
        f"{group}/visits/{{number}}/",
        f"{group}/visits/{{number}}/photos/{{photo_number}}/",
    } <= set(schema["paths"])


def test_it_describes_what_a_submission_holds(schema: dict[str, Any]) -> None:
    submission = schema["components"]["schemas"]["Submission"]
    assert {"site", "visited_on"} <= set(submission["required"])
    assert {"spots", "measurements", "counts", "not_made_reason"} <= set(submission["properties"])


def test_it_describes_every_answer_to_a_submission(schema: dict[str, Any]) -> None:
    answers = schema["paths"]["/api/v1/groups/{slug}/visits/{number}/"]["put"]["responses"]
    assert set(answers) == {"200", "201", "400", "401", "403", "404", "409", "422"}
    assert list(answers["422"]["content"]) == ["application/problem+json"]
    assert answers["422"]["content"]["application/problem+json"]["schema"]["$ref"].endswith("/ProblemDetails")


def test_it_describes_the_filters_of_the_visits(schema: dict[str, Any]) -> None:
    parameters = schema["paths"]["/api/v1/groups/{slug}/visits/"]["get"]["parameters"]
    assert {"site", "status", "was_made", "since", "until", "limit", "cursor"} <= {
        each["name"] for each in parameters
    }


def test_it_serves_the_schema_to_everybody(db: None) -> None:
    answer = APIClient().get("/api/schema/")
    assert answer.status_code == 200
    assert b"/api/v1/groups/" in answer.content
