"""Every kind of refusal in the one shape of RFC 9457."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404
from rest_framework import exceptions
from rest_framework.response import Response

from surveys.api.problems import MEDIA_TYPE, handle, problem_response
from surveys.submission import InvalidSubmission, Problem

PH = Problem("measurements.ph", "pH goes from 0 to 14.", "range_error")


def answer(error: Exception) -> Response:
    found = handle(error, {})
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("error", "status", "title"),
    [
        (InvalidSubmission([PH]), 422, "Unprocessable Entity"),
        (exceptions.ValidationError({"since": ["no date"]}), 400, "Bad Request"),
        (exceptions.ParseError(), 400, "Bad Request"),
        (exceptions.NotAuthenticated(), 401, "Unauthorized"),
        (exceptions.PermissionDenied(), 403, "Forbidden"),
        (PermissionDenied(), 403, "Forbidden"),
        (Http404(), 404, "Not Found"),
        (exceptions.MethodNotAllowed("POST"), 405, "Method Not Allowed"),
        (exceptions.UnsupportedMediaType("text/plain"), 415, "Unsupported Media Type"),
        (exceptions.Throttled(wait=30), 429, "Too Many Requests"),
    ],
)
def test_it_has_the_members_of_the_standard(error: Exception, status: int, title: str) -> None:
    found = answer(error)
    assert (found.status_code, found.content_type) == (status, MEDIA_TYPE)
    assert set(found.data) == {"type", "title", "status", "detail", "problems"}
    assert (found.data["type"], found.data["title"], found.data["status"]) == ("about:blank", title, status)
    assert found.data["detail"]


def test_it_names_the_fields_of_an_invalid_submission() -> None:
    assert answer(InvalidSubmission([PH])).data["problems"] == [
        {
            "field": "measurements.ph",
            "message": "pH goes from 0 to 14.",
            "rule": "range_error",
            "control": "measurements-ph-value",
        }
    ]


@pytest.mark.parametrize(
    ("detail", "expected"),
    [
        ({"since": ["no date"], "site": ["no number"]}, [("since", "no date"), ("site", "no number")]),
        (["not so"], [("request", "not so")]),
        ("not so", [("request", "not so")]),
    ],
)
def test_it_names_the_parameters_of_a_request_it_cannot_read(
    detail: Any, expected: list[tuple[str, str]]
) -> None:
    problems = answer(exceptions.ValidationError(detail)).data["problems"]
    assert [(each["field"], each["message"]) for each in problems] == expected


def test_it_says_what_is_wrong_inside_a_field_and_where() -> None:
    detail: Any = {
        "taxa": {"Mayfly": ["Not a valid string."]},
        "marks": {0: ["Too long."]},
    }
    told = answer(exceptions.ValidationError(detail)).data["problems"]
    assert [(each["field"], each["message"]) for each in told] == [
        ("taxa.Mayfly", "Not a valid string."),
        ("marks.0", "Too long."),
    ]


def test_it_says_the_same_of_whatever_is_not_there() -> None:
    assert answer(Http404("no visit 17")).data == answer(Http404("no group")).data


def test_it_keeps_what_the_usual_answer_says_in_its_headers() -> None:
    assert answer(exceptions.Throttled(wait=30))["Retry-After"] == "30"


def test_it_leaves_a_fault_of_the_portal_to_be_seen_as_one() -> None:
    assert handle(RuntimeError("a fault"), {}) is None


def test_it_lists_no_problems_where_no_field_is_at_fault() -> None:
    assert problem_response(409, "taken").data["problems"] == []
