"""One trace holds a request, its queries and the task that followed, and tells nothing of anybody."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from uuid import uuid4

import pytest
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from opentelemetry.proto.trace.v1.trace_pb2 import Span

from portal.embedded.place import PROJECT
from tests.faults.conftest import mail_url
from tests.faults.portals import SharedServers, portal_with
from tests.faults.soaking import sinking
from tests.faults.steady_load import Load, make_world
from tests.processes import await_true

TASK = "run/portal.outbox.tasks.deliver_message"


class Collector(ThreadingHTTPServer):
    """Takes what OpenTelemetry sends over HTTP, as its collectors do."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Taking)
        self.spans: list[tuple[str, Span]] = []
        self.raw = b""


class Taking(BaseHTTPRequestHandler):
    server: Collector

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        assert self.path == "/v1/traces"
        sent = ExportTraceServiceRequest.FromString(body)
        for each in sent.resource_spans:
            part = next(one.value.string_value for one in each.resource.attributes if one.key == "service.name")
            self.server.spans += [(part, span) for scope in each.scope_spans for span in scope.spans]
        self.server.raw += body
        self.send_response(200)
        self.end_headers()

    def log_message(self, *words: object) -> None:
        """Not into the tests' output."""


@contextmanager
def collecting() -> Iterator[Collector]:
    with Collector() as collector:
        thread = threading.Thread(target=collector.serve_forever)
        thread.start()
        try:
            yield collector
        finally:
            collector.shutdown()
            thread.join()


@pytest.mark.faults
@pytest.mark.django_db(transaction=True)
def test_a_visit_is_one_trace_from_the_request_to_the_mail(empty_queue: None, tmp_path: Path) -> None:
    with collecting() as collector, sinking() as sink:
        switched_on = {
            "OTEL_EXPORTER_OTLP_ENDPOINT": f"http://127.0.0.1:{collector.server_port}",
            "OTEL_EXPORTER_OTLP_COMPRESSION": "none",
            "OTEL_BSP_SCHEDULE_DELAY": "200",
            "EMAIL_URL": mail_url(sink.port),
        }
        with portal_with(SharedServers().environment | switched_on, tmp_path) as portal:
            portal.start("web0", "worker0")
            load = Load(portal.webs[0], make_world())
            visit = load.world["low"][0] | {"id": str(uuid4()), "notes": "Grey film below the weir"}
            assert load.submit(visit) == 201, load.faults
            await_true(
                lambda: TASK in {span.name for _part, span in collector.spans}, "The task is not traced."
            )
            await_true(lambda: bool(requests_of(collector)), "The request is not traced.")
        check_trace(collector)
        check_discreet(collector, load, visit)


def requests_of(collector: Collector) -> list[Span]:
    return [span for part, span in collector.spans if part == "rifflebook-web" and "PUT" in span.name]


def check_trace(collector: Collector) -> None:
    (request,) = requests_of(collector)
    assert request.name == "PUT api/v1/groups/<slug:slug>/visits/<uuid:number>/"
    together = [(part, span) for part, span in collector.spans if span.trace_id == request.trace_id]
    queries = [span for part, span in together if part == "rifflebook-web" and span.name == "INSERT"]
    assert any(text_of(span).startswith('INSERT INTO "surveys_visit"') for span in queries)
    tasks = [span for part, span in together if part == "rifflebook-worker" and span.name == TASK]
    assert tasks, "the task is no part of the trace"
    of_tasks = {span.parent_span_id for part, span in together if part == "rifflebook-worker"}
    assert tasks[0].span_id in of_tasks, "the task's queries are no part of it"


def text_of(span: Span) -> str:
    texts = [
        each.value.string_value for each in span.attributes if each.key in {"db.statement", "db.query.text"}
    ]
    return texts[0] if texts else ""


def check_discreet(collector: Collector, load: Load, visit: dict[str, object]) -> None:
    """Nothing of what was sent or of who sent it is in any byte that left."""
    for secret in (
        "Grey film",
        "rivers.example",
        "Sam Example",
        "alder-beck",
        load.world["key"],
        str(visit["id"]),
    ):
        assert secret.encode() not in collector.raw, secret
    assert b"SELECT" in collector.raw


def test_switched_off_it_is_neither_imported_nor_needed() -> None:
    # As on a machine without the packages: whoever imports them ends here.
    asks = (
        "import sys; sys.modules['opentelemetry'] = None; import portal.wsgi, portal.celery;"
        " from portal.serving.tracing import trace_if_asked; sys.exit(trace_if_asked('web'))"
    )
    subprocess.run([sys.executable, "-c", asks], cwd=PROJECT, check=True, timeout=60)
