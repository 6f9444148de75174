"""Who waited too long for a thread is refused; `tests/faults/test_overload.py` does it with a real crowd."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator

import pytest
from django.conf import LazySettings
from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.test import RequestFactory

from portal.serving.overload import OverloadMiddleware, refusal, seconds_waited
from portal.views.faults import server_error

WAITED = 0.3


@pytest.fixture
def line() -> Iterator[socket.socket]:
    """A connection on which something came in a while ago."""
    with (
        socket.create_server(("127.0.0.1", 0)) as server,
        socket.create_connection(server.getsockname()) as client,
        server.accept()[0] as received,
    ):
        client.sendall(b"GET / HTTP/1.1\r\n\r\n")
        time.sleep(WAITED)
        yield received


def answer(line: object, path: str = "/", method: str = "GET") -> HttpResponse:
    request = RequestFactory().generic(method, path)
    request.META["gunicorn.socket"] = line
    return OverloadMiddleware(lambda _request: HttpResponse("served"))(request)


def test_the_line_tells_how_long_a_request_has_waited(line: socket.socket) -> None:
    assert WAITED * 0.9 < seconds_waited(line) < WAITED + 5


@pytest.mark.parametrize("other", [None, "no line", socket.socket(socket.AF_UNIX)])
def test_where_it_cannot_be_told_nobody_is_refused(other: object, settings: LazySettings) -> None:
    settings.LONGEST_WAIT = 0.001
    assert seconds_waited(other) == 0
    assert answer(other).content == b"served"
    if isinstance(other, socket.socket):
        other.close()


def test_who_waited_too_long_is_told_when_to_come_again(line: socket.socket, settings: LazySettings) -> None:
    settings.LONGEST_WAIT = WAITED / 2
    page, sent = answer(line), answer(line, method="POST")
    assert {page.status_code, sent.status_code} == {503}
    assert 10 <= int(page["Retry-After"]) < 30
    assert page["Cache-Control"] == "no-store"
    assert "The portal is very busy" in page.content.decode()
    assert "Nothing of what you sent just now was saved" in sent.content.decode()
    assert "telephone your agency now" in sent.content.decode()
    told = answer(line, "/api/v1/groups/")
    assert (told.status_code, told["Content-Type"]) == (503, "application/problem+json")


def test_who_looks_after_the_portal_is_answered(line: socket.socket, settings: LazySettings) -> None:
    settings.LONGEST_WAIT = WAITED / 2
    assert answer(line, "/health/").content == b"served"
    settings.LONGEST_WAIT = 60
    assert answer(line).content == b"served"
    settings.LONGEST_WAIT = 0
    assert answer(line).content == b"served"


@pytest.mark.parametrize(
    ("fault", "status"), [(OperationalError("no connection"), 503), (ValueError("ours"), 500)]
)
def test_a_database_out_of_reach_outside_the_view_is_no_fault_of_ours(fault: Exception, status: int) -> None:
    def broken(request: HttpRequest) -> HttpResponse:
        try:
            raise fault
        except type(fault):
            # As Django calls it, with the fault at hand.
            return server_error(request)

    assert broken(RequestFactory().get("/api/v1/groups/")).status_code == status
    assert broken(RequestFactory().get("/")).status_code == status


def test_what_was_sent_is_read_before_it_is_refused() -> None:
    request = RequestFactory().put("/api/v1/groups/", b"x" * 200_000, "application/json")
    assert refusal(request).status_code == 503
    assert request.read() == b""
