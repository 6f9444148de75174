"""A real SMTP server on loopback that answers as it is told, and keeps what it accepts."""

from __future__ import annotations

import asyncio
import email.policy
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes
from email.message import EmailMessage
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from portal.embedded.inbox import free_port


@dataclass
class Postbox:
    """What the server has accepted, and what it is to say to the next ones."""

    port: int = 0
    mails: list[EmailMessage] = field(default_factory=list)
    recipients: list[str] = field(default_factory=list)
    answers: list[str] = field(default_factory=list)
    rcpt_answers: dict[str, str] = field(default_factory=dict)
    mail_answer: str = ""
    hang_seconds: float = 0.0
    drop_in_data: bool = False
    hang_up_after: bool = False
    # As common servers do (RFC 2920).
    takes_groups: bool = True
    most_callers: int = 1000
    callers: set[object] = field(default_factory=set)

    async def handle_EHLO(
        self, server: SMTP, session: Session, envelope: Envelope, hostname: str, responses: list[str]
    ) -> list[str]:
        session.host_name = hostname
        return [*responses[:-1], *(["250-PIPELINING"] if self.takes_groups else []), responses[-1]]

    async def handle_MAIL(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if session.peer not in self.callers and len(self.callers) >= self.most_callers:
            return "421 too many connections"
        self.callers.add(session.peer)
        if self.mail_answer:
            return self.mail_answer
        envelope.mail_from = address
        return "250 sender ok"

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        answer = self.rcpt_answers.get(address, "250 recipient ok")
        if answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        if self.drop_in_data:
            server.transport.abort()  # type: ignore[union-attr]
        answer = self.answers.pop(0) if self.answers else "250 accepted as 17"
        if answer.startswith("250"):
            self.mails.append(parse(envelope.original_content or b""))
            self.recipients.extend(envelope.rcpt_tos)
        # Taken, but the sender does not know yet: the moment in which a crash makes a second copy.
        await asyncio.sleep(self.hang_seconds)
        if self.hang_up_after:
            asyncio.get_running_loop().call_later(0.005, server.transport.abort)  # type: ignore[union-attr]
        return answer


def parse(content: bytes) -> EmailMessage:
    """A received e-mail, ready to be asked for its parts."""
    mail: Any = message_from_bytes(content, policy=email.policy.default)
    assert isinstance(mail, EmailMessage)
    return mail


@contextmanager
def receiving(port: int = 0) -> Iterator[Postbox]:
    """Run the server for the while, at a port of its own unless one is given."""
    box = Postbox(port=port or free_port())
    server = Controller(box, hostname="127.0.0.1", port=box.port)
    server.start()
    try:
        yield box
    finally:
        server.stop()


def smtp_settings(port: int, timeout: float = 2) -> dict[str, Any]:
    """settings.OUTBOX_SMTP for a server on this port."""
    return {
        "host": "127.0.0.1",
        "port": port,
        "username": "",
        "password": "",
        "use_tls": False,
        "use_ssl": False,
        "timeout": timeout,
        "lines": 4,
    }


def text_of(mail: EmailMessage) -> str:
    """The plain text of a mail."""
    part = mail.get_body(("plain",))
    assert part is not None
    return str(part.get_content())


def html_of(mail: EmailMessage) -> str:
    """The HTML of a mail."""
    part = mail.get_body(("html",))
    assert part is not None
    return str(part.get_content())
