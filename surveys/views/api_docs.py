"""What programs can ask of the portal, read from the interface's own schema."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from drf_spectacular.generators import SchemaGenerator

from portal.tokens.models import Scope

METHODS = ("get", "post", "put", "patch", "delete")


@dataclass(frozen=True)
class Operation:
    """One thing that can be asked for; `parameters` are (name, where it stands, words)."""

    number: str
    method: str
    path: str
    summary: str
    parameters: tuple[tuple[str, str, str], ...]
    answers: tuple[tuple[str, str], ...]
    examples: tuple[tuple[str, str], ...]


@cache
def operations() -> tuple[Operation, ...]:
    """Every operation of the schema, by address; drawn once in the life of a process."""
    schema = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    found = [
        _operation(path, method, told)
        for path, methods in schema["paths"].items()
        for method, told in methods.items()
        if method in METHODS
    ]
    return tuple(sorted(found, key=lambda each: (each.path, METHODS.index(each.method.lower()))))


def _operation(path: str, method: str, told: Mapping[str, Any]) -> Operation:
    return Operation(
        number=told["operationId"],
        method=method.upper(),
        path=path,
        summary=told.get("summary", ""),
        parameters=tuple(
            (each["name"], each["in"], each.get("description", "")) for each in told.get("parameters", ())
        ),
        answers=tuple((code, each.get("description", "")) for code, each in told["responses"].items()),
        examples=tuple(_examples(told.get("requestBody", {}))),
    )


def _examples(body: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for content in body.get("content", {}).values():
        for each in content.get("examples", {}).values():
            yield each.get("summary", ""), json.dumps(each["value"], indent=2, ensure_ascii=False)
        # The forms of one body say the same.
        return


@require_safe
def api_docs(request: HttpRequest) -> HttpResponse:
    """The page for whoever writes a program."""
    context = {"operations": operations(), "scopes": Scope.choices}
    return render(request, "surveys/api_docs.html", context)
