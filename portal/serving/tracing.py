"""Traces of requests, queries and tasks by OpenTelemetry, for whoever collects such.

Switched on by OpenTelemetry's own variable, OTEL_EXPORTER_OTLP_ENDPOINT; its others hold as well. Needs the
packages of requirements-tracing.txt. Switched off, nothing of it is imported.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from portal.serving.slowness import without_values

if TYPE_CHECKING:
    from opentelemetry.sdk.trace import ReadableSpan

SWITCH = "OTEL_EXPORTER_OTLP_ENDPOINT"
# Nothing else leaves the portal: addresses open pages, texts of errors name people.
TOLD = {
    *("http.method", "http.request.method", "http.route", "http.status_code", "http.response.status_code"),
    *("db.system", "db.system.name", "db.statement", "db.query.text"),
    *(
        "celery.action",
        "celery.task_name",
        "celery.state",
        "messaging.destination",
        "messaging.destination.name",
    ),
    "exception.type",
}
STATEMENTS = {"db.statement", "db.query.text"}


def trace_if_asked(part: str) -> bool:
    """Begin to trace this process as `part` ("web", "worker") if the environment asks for it; says whether."""
    if not os.environ.get(SWITCH):
        return False
    _export_as(part)
    _instrument()
    return True


def _export_as(part: str) -> None:
    from opentelemetry import trace
    from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
    from opentelemetry.sdk.resources import Resource
    from opentelemetry.sdk.trace import TracerProvider
    from opentelemetry.sdk.trace.export import BatchSpanProcessor

    class Discreet(OTLPSpanExporter):
        """Sends what may be told, and nothing else."""

        def export(self, spans: Sequence[ReadableSpan]) -> Any:
            return super().export([discreet(span) for span in spans])

    resource = Resource.create({"service.name": os.environ.get("OTEL_SERVICE_NAME", f"rifflebook-{part}")})
    provider = TracerProvider(resource=resource)
    provider.add_span_processor(BatchSpanProcessor(Discreet()))
    trace.set_tracer_provider(provider)


def _instrument() -> None:
    from opentelemetry.instrumentation.celery import CeleryInstrumentor
    from opentelemetry.instrumentation.django import DjangoInstrumentor
    from opentelemetry.instrumentation.psycopg import PsycopgInstrumentor
    from opentelemetry.instrumentation.redis import RedisInstrumentor

    # Untyped as it is.
    celery: Any = CeleryInstrumentor
    PsycopgInstrumentor().instrument(skip_dep_check=True)
    for instrumentor in (DjangoInstrumentor(), celery(), RedisInstrumentor()):
        instrumentor.instrument()


def discreet(span: ReadableSpan) -> ReadableSpan:
    """The same span with the attributes of `TOLD` alone, no values in statements, no texts of errors."""
    from opentelemetry.sdk.trace import Event, ReadableSpan
    from opentelemetry.trace import Status

    return ReadableSpan(
        name=span.name,
        context=span.context,
        parent=span.parent,
        resource=span.resource,
        attributes=_told(span.attributes),
        events=[Event(each.name, _told(each.attributes), each.timestamp) for each in span.events],
        links=span.links,
        kind=span.kind,
        status=Status(span.status.status_code),
        start_time=span.start_time,
        end_time=span.end_time,
        instrumentation_scope=span.instrumentation_scope,
    )


def _told(attributes: Any) -> dict[str, Any]:
    kept = {name: value for name, value in (attributes or {}).items() if name in TOLD}
    return {name: without_values(value) if name in STATEMENTS else value for name, value in kept.items()}
