"""Building the e-mail itself from an owed message.

All of it is written by the standard library, by those of its ways that cost least: a thousand may be owed at
once, and `EmailMessage` takes as long for one as sending it does.
"""

from __future__ import annotations

import html
import re
from binascii import b2a_qp
from dataclasses import dataclass
from email.generator import BytesGenerator
from email.headerregistry import Address
from email.mime.base import MIMEBase
from email.mime.multipart import MIMEMultipart
from email.mime.nonmultipart import MIMENonMultipart
from email.policy import SMTP, compat32
from email.utils import formatdate, parseaddr
from functools import lru_cache
from io import BytesIO

from django.conf import settings

from portal.outbox.models import Message
from portal.outbox.pictures import draw_picture

PLACE_OF_PICTURE = "cid:picture"
_PICTURE_TAG = re.compile(r'<img\b[^>]*\bsrc="cid:picture"[^>]*>')
# What is put together is of its final form: no line of it is folded again.
_AS_GIVEN = compat32.clone(linesep="\r\n", max_line_length=None)
_ALT = re.compile(r'\balt="([^"]*)"')


@dataclass(frozen=True)
class Letter:
    """A message as it is handed to a mail server: from and to which address, and every byte of it."""

    sender: str
    reader: str
    content: bytes


def sender() -> Address:
    """The address all mail comes from."""
    return _address(settings.DEFAULT_FROM_EMAIL)


def message_id(message: Message) -> str:
    """The same for every copy ever sent of one message, so that mail programs fold a second copy."""
    return f"<{message.id}@{sender().domain}>"


def compose(message: Message) -> Letter:
    """The e-mail with text, HTML and picture. Raises ValueError for an address that cannot be written."""
    reader = Address(message.to_name, addr_spec=_ascii_address(message.to_address))
    content = _headers(message, reader).encode("ascii") + _written(_body(message))
    return Letter(sender().addr_spec, reader.addr_spec, content)


def _headers(message: Message, reader: Address) -> str:
    lines = [
        _folded("Subject", message.subject),
        _folded("From", str(sender())),
        _folded("To", str(reader)),
        f"Date: {formatdate(localtime=False)}",
        f"Message-ID: {message_id(message)}",
        # Asks auto-responders to keep still (RFC 3834).
        "Auto-Submitted: auto-generated",
    ]
    if message.reply_to:
        lines.append(_folded("Reply-To", message.reply_to))
    if message.unsubscribe_url:
        # On one line, however long: folded, the address would be encoded past recognition.
        lines.append(f"List-Unsubscribe: <{_one_line(message.unsubscribe_url)}>")
        lines.append("List-Unsubscribe-Post: List-Unsubscribe=One-Click")
    return "".join(f"{line}\r\n" for line in lines)


@lru_cache(maxsize=1)
def _address(written: str) -> Address:
    name, address = parseaddr(written)
    return Address(name, addr_spec=address)


# Readers of one incident get the same subject and the same address to answer to.
@lru_cache(maxsize=500)
def _folded(name: str, value: str) -> str:
    """A header as it is sent, without its last line's end. Raises ValueError for a value with line ends."""
    _name, header = SMTP.header_store_parse(name, value)
    return str(header.fold(policy=SMTP)).removesuffix("\r\n")


def _one_line(value: str) -> str:
    if not value.isascii() or len(value.split()) != 1:
        raise ValueError(f"{value}: no address for a header.")
    return value


def _body(message: Message) -> MIMEBase:
    """The text, and beside it the page with its picture."""
    text = _words(message.text, "plain")
    if not message.html:
        return text
    return _several("alternative", text, _page(message))


def _page(message: Message) -> MIMEBase:
    picture = draw_picture(message)
    if picture is None:
        return _words(_without_picture(message.html), "html")
    name = f"picture.{message_id(message)[1:-1]}"
    page = _words(message.html.replace(PLACE_OF_PICTURE, f"cid:{name}"), "html")
    image = _part("image", "png", "base64", picture)
    image["Content-Disposition"] = 'inline; filename="picture.png"'
    image["Content-ID"] = f"<{name}>"
    return _several("related", page, image)


def _words(words: str, subtype: str) -> MIMEBase:
    lines = words.replace("\r\n", "\n").replace("\r", "\n")
    return _part("text", subtype, "quoted-printable", b2a_qp(lines.encode()).decode("ascii"), charset="utf-8")


def _several(subtype: str, *parts: MIMEBase) -> MIMEBase:
    # No line of quoted-printable or base64 begins with this boundary: neither holds "=_".
    return MIMEMultipart(subtype, f"=_{subtype}", parts, policy=_AS_GIVEN)


def _part(kind: str, subtype: str, encoding: str, encoded: str, **told: str) -> MIMEBase:
    part = MIMENonMultipart(kind, subtype, policy=_AS_GIVEN, **told)
    part["Content-Transfer-Encoding"] = encoding
    part.set_payload(encoded.replace("\n", "\r\n"))
    return part


class _Writer(BytesGenerator):
    """Writes what is encoded as it is: its lines end as they are sent, and a picture has a thousand of them."""

    def _write_lines(self, lines: str) -> None:
        self.write(lines)


def _written(part: MIMEBase) -> bytes:
    out = BytesIO()
    _Writer(out, mangle_from_=False, policy=_AS_GIVEN).flatten(part)
    return out.getvalue()


def _without_picture(page: str) -> str:
    """The page with the picture's description in place of the picture."""

    def words(tag: re.Match[str]) -> str:
        alt = _ALT.search(tag.group())
        return html.escape(html.unescape(alt.group(1))) if alt else ""

    return _PICTURE_TAG.sub(words, page)


def _ascii_address(address: str) -> str:
    """The address with its domain in ASCII; a name before the @ that is not ASCII raises ValueError."""
    local, _at, domain = address.rpartition("@")
    if not local.isascii():
        raise ValueError(f"{address}: mail servers do not take this address.")
    return f"{local}@{domain.encode('idna').decode('ascii')}"
