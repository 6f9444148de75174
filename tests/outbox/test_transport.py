"""Speaking SMTP the ways mail servers want it: with a login, with TLS, and with bad manners."""

from __future__ import annotations

import socket
import ssl
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword
from pytest_django import Settings

from portal.embedded.inbox import free_port
from portal.outbox import transport
from portal.outbox.composing import compose
from portal.outbox.models import Message
from portal.outbox.transport import Answer, Line, Result, send
from tests.mail import Postbox, receiving, smtp_settings

MESSAGE = Message(to_address="reader@agency.example", subject="Low", text="Twelve.\n")


GROUPS = (b"220 hello\r\n", b"250-hi\r\n250 PIPELINING\r\n")


def try_to_send() -> Answer:
    return send(compose(MESSAGE))


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate made for this run, key and all in one file."""
    place = tmp_path_factory.mktemp("tls") / "server.pem"
    command = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"]
    command += ["-subj", "/CN=localhost", "-addext", "subjectAltName=IP:127.0.0.1"]
    subprocess.run([*command, "-keyout", place, "-out", f"{place}.crt"], check=True, capture_output=True)
    place.write_text(place.read_text() + Path(f"{place}.crt").read_text())
    return place


def knows(server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:
    good = isinstance(data, LoginPassword) and (data.login, data.password) == (b"portal", b"secret")
    return AuthResult(success=good, handled=False)


@contextmanager
def tls_server(certificate: Path) -> Iterator[Postbox]:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate)
    box = Postbox(port=free_port())
    server = Controller(
        box,
        hostname="127.0.0.1",
        port=box.port,
        tls_context=context,
        require_starttls=True,
        authenticator=knows,
        auth_required=True,
    )
    server.start()
    try:
        yield box
    finally:
        server.stop()


@pytest.fixture
def trusted(certificate: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The certificate, as if a known authority had signed it."""
    monkeypatch.setenv("SSL_CERT_FILE", f"{certificate}.crt")
    return certificate


def test_it_signs_in_over_tls(trusted: Path, settings: Settings) -> None:
    with tls_server(trusted) as box:
        login = {"username": "portal", "password": "secret", "use_tls": True}
        settings.OUTBOX_SMTP = smtp_settings(box.port) | login
        assert try_to_send().result is Result.ACCEPTED
        assert len(box.mails) == 1


def test_it_gives_its_login_to_no_stranger(certificate: Path, settings: Settings) -> None:
    """A server whose certificate nobody vouches for."""
    with tls_server(certificate) as box:
        login = {"username": "portal", "password": "secret", "use_tls": True}
        settings.OUTBOX_SMTP = smtp_settings(box.port) | login
        answer = try_to_send()
    assert answer.result is Result.NO_SERVER
    assert "certificate" in answer.text
    assert box.mails == []


@pytest.mark.parametrize(
    "login", [{"username": "portal", "password": "wrong", "use_tls": True}, {"use_tls": True}, {}]
)
def test_it_never_blames_the_reader_for_a_login_of_ours(
    trusted: Path, settings: Settings, login: dict[str, Any]
) -> None:
    with tls_server(trusted) as box:
        settings.OUTBOX_SMTP = smtp_settings(box.port) | login
        assert try_to_send().result in (Result.NO_SERVER, Result.TRY_AGAIN)
        assert box.mails == []


@contextmanager
def talking(*lines: bytes) -> Iterator[int]:
    """A server that says these lines whatever it is told, and then hangs up."""
    listener = socket.create_server(("127.0.0.1", 0))
    listener.settimeout(10)

    def serve() -> None:
        line, _address = listener.accept()
        with line:
            line.settimeout(10)
            for answer in lines:
                line.sendall(answer)
                line.recv(4096)

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield listener.getsockname()[1]
    finally:
        thread.join()
        listener.close()


@pytest.mark.parametrize(
    ("lines", "result", "code"),
    [
        ([b"220 hello\r\n", b"250 hi\r\n", b"250 ok\r\n", b"550 no such user\r\n"], Result.REFUSED, 550),
        ([b"220 hello\r\n", b"250 hi\r\n", b"250 ok\r\n", b"450 later\r\n"], Result.TRY_AGAIN, 450),
        ([b"220 hello\r\n", b"250 hi\r\n", b"550 you again\r\n"], Result.NO_SERVER, 550),
        (
            [b"220 hello\r\n", b"250 hi\r\n", b"250 ok\r\n", b"250 ok\r\n", b"554 no data\r\n"],
            Result.REFUSED,
            554,
        ),
        ([b"220 hello\r\n", b"250 hi\r\n", b"250 ok\r\n", b"250 ok\r\n"], Result.CUT_OFF, None),
        ([b"220 hello\r\n", b"250 hi\r\n"], Result.CUT_OFF, None),
        ([b"554 go away\r\n"], Result.NO_SERVER, 554),
        ([b"421 busy\r\n"], Result.NO_SERVER, 421),
        ([b"SSH-2.0-nonsense\r\n"], Result.NO_SERVER, -1),
        # Commands in a group get their answers one by one (RFC 2920).
        ([*GROUPS, b"250 ok\r\n250 ok\r\n354 go on\r\n", b"250 taken\r\n"], Result.ACCEPTED, 250),
        ([*GROUPS, b"250 ok\r\n550 no such user\r\n503 no reader\r\n"], Result.REFUSED, 550),
        # It may ask for the message of nobody, which is then an empty one.
        ([*GROUPS, b"250 ok\r\n550 no such user\r\n354 go on\r\n", b"554 no reader\r\n"], Result.REFUSED, 550),
        ([*GROUPS, b"250 ok\r\n450 later\r\n503 no reader\r\n"], Result.TRY_AGAIN, 450),
        ([*GROUPS, b"550 you again\r\n503 no sender\r\n503 no sender\r\n"], Result.NO_SERVER, 550),
        ([*GROUPS, b"421 busy\r\n"], Result.NO_SERVER, 421),
        ([*GROUPS, b"250 ok\r\n250 ok\r\n"], Result.CUT_OFF, None),
    ],
)
def test_it_knows_a_refusal_of_this_reader_from_all_other_trouble(
    settings: Settings, lines: list[bytes], result: Result, code: int | None
) -> None:
    with talking(*lines) as port:
        settings.OUTBOX_SMTP = smtp_settings(port)
        answer = try_to_send()
    assert answer.result is result
    assert answer.code == code


def test_it_takes_the_message_for_sent_when_only_the_goodbye_fails(settings: Settings) -> None:
    accepted = [
        b"220 hello\r\n",
        b"250 hi\r\n",
        b"250 ok\r\n",
        b"250 ok\r\n",
        b"354 go on\r\n",
        b"250 taken\r\n",
    ]
    with talking(*accepted) as port:
        settings.OUTBOX_SMTP = smtp_settings(port)
        answer = try_to_send()
    assert answer == Answer(Result.ACCEPTED, 250, "taken")


def test_it_waits_no_longer_than_it_is_told_for_a_silent_server(settings: Settings) -> None:
    with talking(b"220 hello\r\n", b"") as port:
        settings.OUTBOX_SMTP = smtp_settings(port, timeout=0.5)
        assert try_to_send().result is Result.NO_SERVER


class TestLine:
    """One connection for many messages, and what a break of it costs: nothing but a new connection."""

    @pytest.fixture(params=[True, False], ids=["in groups", "one by one"])
    def postbox(self, settings: Settings, request: pytest.FixtureRequest) -> Iterator[Postbox]:
        with receiving() as box:
            box.takes_groups = request.param
            settings.OUTBOX_SMTP = smtp_settings(box.port)
            yield box

    def carry(self, line: Line, number: int) -> Result:
        message = Message(to_address=f"reader{number}@agency.example", subject=f"n{number}", text="Twelve.\n")
        return line.send(compose(message)).result

    def test_it_carries_many_messages_over_one_connection(self, postbox: Postbox) -> None:
        with Line() as line:
            assert [self.carry(line, number) for number in range(5)] == [Result.ACCEPTED] * 5
        assert len(postbox.callers) == 1
        assert postbox.recipients == [f"reader{number}@agency.example" for number in range(5)]
        assert [mail["Subject"] for mail in postbox.mails] == [f"n{number}" for number in range(5)]

    def test_it_calls_anew_after_its_share(self, postbox: Postbox, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(transport, "MOST_MESSAGES", 2)
        with Line() as line:
            assert [self.carry(line, number) for number in range(5)] == [Result.ACCEPTED] * 5
        assert len(postbox.callers) == 3

    def test_one_refused_reader_costs_the_next_nothing(self, postbox: Postbox) -> None:
        postbox.rcpt_answers = {"reader1@agency.example": "550 unknown"}
        with Line() as line:
            results = [self.carry(line, number) for number in range(3)]
        assert results == [Result.ACCEPTED, Result.REFUSED, Result.ACCEPTED]
        assert postbox.recipients == ["reader0@agency.example", "reader2@agency.example"]
        assert len(postbox.callers) == 1

    def test_a_server_that_hangs_up_between_messages_is_called_again(self, postbox: Postbox) -> None:
        postbox.hang_up_after = True
        with Line() as line:
            for number in range(3):
                assert self.carry(line, number) is Result.ACCEPTED
                time.sleep(0.05)
        assert len(postbox.mails) == len(postbox.callers) == 3

    def test_a_line_cut_in_the_middle_fails_that_message_alone(self, postbox: Postbox) -> None:
        with Line() as line:
            assert self.carry(line, 0) is Result.ACCEPTED
            postbox.drop_in_data = True
            assert self.carry(line, 1) is Result.CUT_OFF
            postbox.drop_in_data = False
            assert self.carry(line, 2) is Result.ACCEPTED
        assert len(postbox.callers) == 2

    def test_it_opens_no_connection_for_nothing(self, postbox: Postbox, settings: Settings) -> None:
        settings.OUTBOX_SMTP = smtp_settings(free_port())
        with Line() as line:
            line.close()
        assert postbox.callers == set()

    def test_it_says_that_no_server_answers(self, settings: Settings) -> None:
        settings.OUTBOX_SMTP = smtp_settings(free_port())
        with Line() as line:
            assert [self.carry(line, number) for number in range(2)] == [Result.NO_SERVER] * 2
