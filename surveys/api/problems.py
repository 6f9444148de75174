"""Errors as problem details (RFC 9457): one shape for all, with a list of fields where fields are at fault."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from http import HTTPStatus
from types import MappingProxyType
from typing import Any

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.http import Http404, QueryDict
from django.utils.translation import gettext as _
from rest_framework import exceptions, serializers
from rest_framework.response import Response
from rest_framework.views import exception_handler

from surveys.errors import NotPossible
from surveys.forms.controls import control_of
from surveys.submission import InvalidSubmission, Problem

MEDIA_TYPE = "application/problem+json"


class FieldProblemSerializer(serializers.Serializer[Any]):
    """One field at fault."""

    field = serializers.CharField(help_text="Path such as visited_on, spots.1.seconds or counts.Baetidae.")
    message = serializers.CharField()
    rule = serializers.CharField(help_text="Id of the rule; the rules page of the portal explains each.")
    control = serializers.CharField(help_text="Name of the control in the portal's visit form that holds it.")


class ProblemDetailsSerializer(serializers.Serializer[Any]):
    """Problem details as in RFC 9457."""

    type = serializers.CharField(help_text="about:blank: the title says it all.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    problems = FieldProblemSerializer(many=True)


Problems = tuple[Problem, ...]
Posted = Mapping[str, str]
NO_FORM: Posted = MappingProxyType({})


def problem_response(status: int, detail: str, problems: Problems = (), post: Posted = NO_FORM) -> Response:
    """An answer that says what went wrong; `post` is the form that was sent, if it was one."""
    return Response(problem_body(status, detail, problems, post), status=status, content_type=MEDIA_TYPE)


def number_taken(detail: str) -> Response:
    """The refusal of a number (UUID) that belongs to something of somebody else's."""
    return problem_response(HTTPStatus.CONFLICT, detail, (Problem("id", detail, "number_taken"),))


def problem_body(status: int, detail: str, problems: Problems = (), post: Posted = NO_FORM) -> dict[str, Any]:
    """The same as plain data."""
    return {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "problems": [
            {
                "field": each.field,
                "message": each.message,
                "rule": each.rule,
                "control": control_of(each.field, post),
            }
            for each in problems
        ],
    }


def handle(error: Exception, context: dict[str, Any]) -> Response | None:
    """Turn whatever a view raised into problem details; None lets a fault of ours be a fault."""
    if isinstance(error, InvalidSubmission):
        detail = _("The visit was not taken: see the problems by field.")
        return problem_response(HTTPStatus.UNPROCESSABLE_ENTITY, detail, error.problems, _form_in(context))
    if isinstance(error, NotPossible):
        problem = Problem(error.field or "request", error.message, "not_possible")
        status = HTTPStatus.UNPROCESSABLE_ENTITY if error.field else HTTPStatus.CONFLICT
        return problem_response(status, error.message, (problem,))
    if isinstance(error, ValidationError):
        return problem_response(
            HTTPStatus.UNPROCESSABLE_ENTITY, _("See the problems by field."), _refused(error)
        )
    if isinstance(error, exceptions.ValidationError):
        detail = _("The request cannot be read: see the problems by field.")
        return problem_response(_status_of(context), detail, _field_problems(error.detail))
    # One wording for what is not there and for what is not theirs: strangers learn nothing from it.
    if isinstance(error, Http404):
        return problem_response(HTTPStatus.NOT_FOUND, _("There is nothing here that you may see."))
    # PermissionDenied, broken JSON, a wrong method and the like, as the framework answers them.
    usual = exception_handler(error, context)
    if usual is None:
        return None
    detail = str(usual.data["detail"])
    # A refusal that a program must know from others of its number names itself by a rule.
    rule = getattr(error, "rule", "")
    answer = problem_response(usual.status_code, detail, (Problem("request", detail, rule),) if rule else ())
    # What the usual answer says in its headers (Allow, Retry-After) holds here too.
    for name, value in usual.items():
        answer.headers.setdefault(name, value)
    return answer


def _status_of(context: Mapping[str, Any]) -> HTTPStatus:
    """Fields of a body are at fault themselves; an address that cannot be read is a bad request."""
    method = context["request"].method if "request" in context else ""
    return HTTPStatus.UNPROCESSABLE_ENTITY if method in ("POST", "PATCH") else HTTPStatus.BAD_REQUEST


def _refused(error: ValidationError) -> tuple[Problem, ...]:
    """What a service refused, by field; what concerns the whole is said of the request."""
    named = error.message_dict if hasattr(error, "error_dict") else {NON_FIELD_ERRORS: error.messages}
    return tuple(
        Problem("request" if field == NON_FIELD_ERRORS else field, message, "refused")
        for field, messages in named.items()
        for message in messages
    )


def _form_in(context: Mapping[str, Any]) -> Posted:
    sent = context["request"].data if "request" in context else None
    return sent if isinstance(sent, QueryDict) else NO_FORM


def _field_problems(detail: Any) -> tuple[Problem, ...]:
    return tuple(Problem(field or "request", message, "unreadable") for field, message in _told(detail))


def _told(detail: Any, field: str = "") -> Iterator[tuple[str, str]]:
    """Each message with the path of its field: what stands inside a field is refused under its own name."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            yield from _told(inner, f"{field}.{name}" if field else str(name))
    elif isinstance(detail, list | tuple):
        for each in detail:
            yield from _told(each, field)
    else:
        yield field, str(detail)
