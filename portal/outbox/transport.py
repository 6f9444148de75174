"""Speaking SMTP: a line to the server that carries message after message, each with an answer of its own."""

from __future__ import annotations

import contextlib
import smtplib
import ssl
from dataclasses import dataclass
from email.message import EmailMessage
from enum import Enum

from django.conf import settings

# Many servers end a connection that carries more than some dozens.
MOST_MESSAGES = 50


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


class Line:
    """A connection to the server of settings.OUTBOX_SMTP, opened when first needed; closed by `close`."""

    def __init__(self) -> None:
        self._smtp: smtplib.SMTP | None = None
        self._carried = 0

    def __enter__(self) -> Line:
        return self

    def __exit__(self, *_fault: object) -> None:
        self.close()

    def send(self, mail: EmailMessage) -> Answer:
        """Hand `mail` to the server and return its answer; network trouble never raises.

        Only a refusal of this recipient or content with 5xx is final. A refused login or sender concerns every
        message and is mended by the portal's operator: that is NO_SERVER. A line CUT_OFF may have carried the
        message or not.
        """
        try:
            smtp = self._open()
        except smtplib.SMTPResponseException as problem:
            return Answer(Result.NO_SERVER, problem.smtp_code, _words(problem.smtp_error))
        except (OSError, smtplib.SMTPException) as problem:
            return Answer(Result.NO_SERVER, None, _reason(problem))
        try:
            return _converse(smtp, mail)
        except (OSError, smtplib.SMTPException) as problem:
            self.close()
            return Answer(Result.CUT_OFF, None, _reason(problem))

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
        if self._smtp is not None and (self._carried >= MOST_MESSAGES or not _is_fresh(self._smtp)):
            self.close()
        if self._smtp is None:
            self._smtp, self._carried = _connect(), 0
        self._carried += 1
        return self._smtp


def send(mail: EmailMessage) -> Answer:
    """Hand one `mail` to the server over a line of its own and return the answer."""
    with Line() as line:
        return line.send(mail)


def _is_fresh(smtp: smtplib.SMTP) -> bool:
    """Whether the server still listens; what was said of the last message is forgotten (RFC 5321, 4.1.1.5)."""
    try:
        return smtp.rset()[0] < 400
    except (OSError, smtplib.SMTPException):
        return False


def _connect() -> smtplib.SMTP:
    options = settings.OUTBOX_SMTP
    place = (options["host"], options["port"])
    # Checks the server's certificate, which smtplib by itself does not.
    trust = ssl.create_default_context()
    smtp: smtplib.SMTP
    if options["use_ssl"]:
        smtp = smtplib.SMTP_SSL(*place, timeout=options["timeout"], context=trust)
    else:
        smtp = smtplib.SMTP(*place, timeout=options["timeout"])
    try:
        smtp.ehlo_or_helo_if_needed()
        if options["use_tls"]:
            smtp.starttls(context=trust)
            smtp.ehlo()
        if options["username"]:
            smtp.login(options["username"], options["password"])
    except BaseException:
        smtp.close()
        raise
    return smtp


def _converse(smtp: smtplib.SMTP, mail: EmailMessage) -> Answer:
    # Step by step, because `send_message` keeps the server's last words to itself.
    code, words = smtp.mail(mail["From"].addresses[0].addr_spec)
    if code >= 400:
        return Answer(Result.NO_SERVER, code, _words(words))
    code, words = smtp.rcpt(mail["To"].addresses[0].addr_spec)
    if code < 400:
        code, words = _data(smtp, mail)
    return Answer(_result(code), code, _words(words))


def _data(smtp: smtplib.SMTP, mail: EmailMessage) -> tuple[int, bytes]:
    try:
        return smtp.data(mail.as_bytes())
    except smtplib.SMTPDataError as refusal:
        words = refusal.smtp_error
        return refusal.smtp_code, words.encode() if isinstance(words, str) else words


def _result(code: int) -> Result:
    if code < 400:
        return Result.ACCEPTED
    return Result.REFUSED if 500 <= code < 600 else Result.TRY_AGAIN


def _reason(problem: Exception) -> str:
    return str(problem) or type(problem).__name__


def _words(answer: bytes | str) -> str:
    return answer.decode("utf-8", "replace") if isinstance(answer, bytes) else answer
