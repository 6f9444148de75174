"""Speaking SMTP: a line to the server that carries message after message, each with an answer of its own."""

from __future__ import annotations

import contextlib
import smtplib
import ssl
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from django.conf import settings

from portal.outbox.composing import Letter

# Many servers end a connection that carries more than some dozens.
MOST_MESSAGES = 50
GO_ON, CLOSING = 354, 421
END = b".\r\n"
Reply = tuple[int, bytes]


class Result(Enum):
    """What became of a try."""

    ACCEPTED = "accepted"
    TRY_AGAIN = "try again"
    CUT_OFF = "cut off"
    NO_SERVER = "no server"
    REFUSED = "refused"


@dataclass(frozen=True)
class Answer:
    """The result of a try, with the server's code and words where it gave any."""

    result: Result
    code: int | None
    text: str


class Stale(Exception):
    """The server had hung up before it heard of this message."""


class Line:
    """A connection to the server of settings.OUTBOX_SMTP, opened when first needed; closed by `close`."""

    def __init__(self) -> None:
        self._smtp: smtplib.SMTP | None = None
        self._carried, self._is_clean = 0, True

    def __enter__(self) -> Line:
        return self

    def __exit__(self, *_fault: object) -> None:
        self.close()

    def send(self, letter: Letter) -> Answer:
        """Hand `letter` to the server and return its answer; network trouble never raises.

        Only a refusal of this recipient or content with 5xx is final. A refused login or sender concerns every
        message and is mended by the portal's operator: that is NO_SERVER. A line CUT_OFF may have carried the
        message or not; a server that hung up between two messages is called again.
        """
        try:
            smtp = self._open()
        except smtplib.SMTPResponseException as problem:
            return Answer(Result.NO_SERVER, problem.smtp_code, _words(problem.smtp_error))
        except (OSError, smtplib.SMTPException) as problem:
            return Answer(Result.NO_SERVER, None, _reason(problem))
        try:
            answer = _converse(smtp, letter, is_new=self._carried == 1)
        except Stale:
            self.close()
            return self.send(letter)
        except (OSError, smtplib.SMTPException) as problem:
            self.close()
            return Answer(Result.CUT_OFF, None, _reason(problem))
        self._is_clean = answer.result is Result.ACCEPTED
        return answer

    def close(self) -> None:
        """Say goodbye; every message is accepted or not by now, so whatever goes wrong changes nothing."""
        smtp, self._smtp = self._smtp, None
        if smtp is None:
            return
        with contextlib.suppress(OSError, smtplib.SMTPException):
            smtp.quit()
        smtp.close()

    def _open(self) -> smtplib.SMTP:
        """The connection, a new one where there is none, it has been closed, or it has carried its share."""
        if self._smtp is not None and (self._carried >= MOST_MESSAGES or not self._is_ready(self._smtp)):
            self.close()
        if self._smtp is None:
            self._smtp, self._carried, self._is_clean = _connect(), 0, True
        self._carried += 1
        return self._smtp

    def _is_ready(self, smtp: smtplib.SMTP) -> bool:
        """What was said of a message that was not taken must be forgotten first (RFC 5321, 4.1.1.5)."""
        try:
            return self._is_clean or smtp.rset()[0] < 400
        except (OSError, smtplib.SMTPException):
            return False


def send(letter: Letter) -> Answer:
    """Hand one `letter` to the server over a line of its own and return the answer."""
    with Line() as line:
        return line.send(letter)


def _connect() -> smtplib.SMTP:
    options = settings.OUTBOX_SMTP
    place = (options["host"], options["port"])
    smtp: smtplib.SMTP
    if options["use_ssl"]:
        smtp = smtplib.SMTP_SSL(*place, timeout=options["timeout"], context=_trust())
    else:
        smtp = smtplib.SMTP(*place, timeout=options["timeout"])
    try:
        smtp.ehlo_or_helo_if_needed()
        if options["use_tls"]:
            smtp.starttls(context=_trust())
            smtp.ehlo()
        if options["username"]:
            smtp.login(options["username"], options["password"])
    except BaseException:
        smtp.close()
        raise
    return smtp


def _trust() -> ssl.SSLContext:
    """Checks the server's certificate, which smtplib by itself does not."""
    return ssl.create_default_context()


def _converse(smtp: smtplib.SMTP, letter: Letter, *, is_new: bool) -> Answer:
    # Step by step, because `send_message` keeps the server's last words to itself.
    refusal = _announce(smtp, letter, is_new=is_new)
    if refusal is not None:
        return refusal
    smtp.send(_dotted(letter.content) + END)
    code, words = smtp.getreply()
    return Answer(_result(code), code, _words(words))


def _announce(smtp: smtplib.SMTP, letter: Letter, *, is_new: bool) -> Answer | None:
    """Say from whom and to whom; None when the server waits for the message.

    Said at once where the server offers it (RFC 2920), which spares two waits for each message.
    """
    sender, reader = smtplib.quoteaddr(letter.sender), smtplib.quoteaddr(letter.reader)
    commands = [f"MAIL FROM:{sender}", f"RCPT TO:{reader}", "DATA"]
    at_once = smtp.has_extn("pipelining")
    replies = [_first_reply(smtp, commands if at_once else commands[:1], is_new=is_new)]
    for command in commands[1:]:
        code = replies[-1][0]
        if code == CLOSING or (code >= 400 and not at_once):
            break
        replies.append(smtp.getreply() if at_once else smtp.docmd(command))
    return _refusal(smtp, replies)


def _first_reply(smtp: smtplib.SMTP, commands: Sequence[str], *, is_new: bool) -> Reply:
    """What the server says to the first of these. Raises Stale when it had hung up since the last message."""
    try:
        smtp.send("".join(f"{each}\r\n" for each in commands))
        reply = smtp.getreply()
    except smtplib.SMTPServerDisconnected as gone:
        if is_new or isinstance(gone.__context__, TimeoutError):
            raise
        raise Stale from gone
    if reply[0] == CLOSING and not is_new:
        raise Stale
    return reply


def _refusal(smtp: smtplib.SMTP, replies: Sequence[Reply]) -> Answer | None:
    refused = next((place for place, (code, _words) in enumerate(replies) if code >= 400), None)
    if refused is None:
        return None
    if replies[-1][0] == GO_ON:
        # Asked for at once, it waits for a message that has no reader: it gets an empty one (RFC 2920, 3.1).
        smtp.send(END)
        smtp.getreply()
    code, words = replies[refused]
    return Answer(Result.NO_SERVER if refused == 0 else _result(code), code, _words(words))


def _dotted(content: bytes) -> bytes:
    """Lines that begin with a dot get another (RFC 5321, 4.5.2); ends with a line's end."""
    dotted = content.replace(b"\r\n.", b"\r\n..")
    dotted = b"." + dotted if dotted.startswith(b".") else dotted
    return dotted if dotted.endswith(b"\r\n") else dotted + b"\r\n"


def _result(code: int) -> Result:
    if code < 400:
        return Result.ACCEPTED
    return Result.REFUSED if 500 <= code < 600 else Result.TRY_AGAIN


def _reason(problem: Exception) -> str:
    return str(problem) or type(problem).__name__


def _words(answer: bytes | str) -> str:
    return answer.decode("utf-8", "replace") if isinstance(answer, bytes) else answer
