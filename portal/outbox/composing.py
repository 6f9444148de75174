"""Building the e-mail itself from an owed message.

Headers that hold words or names are written by the standard library. The rest is put together here, because its
ways of encoding and putting together cost several times what sending the message does, and a thousand may be
owed at once.
"""

from __future__ import annotations

import html
import re
from binascii import b2a_qp
from collections.abc import Sequence
from dataclasses import dataclass
from email.headerregistry import Address
from email.policy import SMTP
from email.utils import formatdate, parseaddr
from functools import lru_cache

from django.conf import settings

from portal.outbox.models import Message
from portal.outbox.pictures import draw_picture

PLACE_OF_PICTURE = "cid:picture"
_PICTURE_TAG = re.compile(r'<img\b[^>]*\bsrc="cid:picture"[^>]*>')
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
    content = _headers(message, reader) + _body(message)
    return Letter(sender().addr_spec, reader.addr_spec, content.encode("ascii"))


def _headers(message: Message, reader: Address) -> str:
    lines = [
        _folded("Subject", message.subject),
        _folded("From", str(sender())),
        _folded("To", str(reader)),
        f"Date: {formatdate(localtime=False)}",
        f"Message-ID: {message_id(message)}",
        "MIME-Version: 1.0",
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


def _body(message: Message) -> str:
    """The text, and beside it the page with its picture."""
    text = _words(message.text, "plain")
    if not message.html:
        return text
    picture = draw_picture(message)
    return _several("alternative", [text, _page(message, picture)])


def _page(message: Message, picture: str | None) -> str:
    if picture is None:
        return _words(_without_picture(message.html), "html")
    name = f"picture.{message_id(message)[1:-1]}"
    page = _words(message.html.replace(PLACE_OF_PICTURE, f"cid:{name}"), "html")
    lines = (
        "Content-Type: image/png",
        "Content-Transfer-Encoding: base64",
        'Content-Disposition: inline; filename="picture.png"',
        f"Content-ID: <{name}>",
    )
    return _several("related", [page, _part(lines, picture)])


def _words(words: str, subtype: str) -> str:
    lines = words.replace("\r\n", "\n").replace("\r", "\n")
    headers = (f'Content-Type: text/{subtype}; charset="utf-8"', "Content-Transfer-Encoding: quoted-printable")
    return _part(headers, b2a_qp(lines.encode()).decode("ascii"))


def _several(subtype: str, parts: Sequence[str]) -> str:
    """Parts beside each other (RFC 2046, 5.1)."""
    # No line of quoted-printable or base64 begins with this: neither holds "=_".
    mark = f"=_{subtype}"
    inner = "".join(f"--{mark}\r\n{part}\r\n" for part in parts)
    return f'Content-Type: multipart/{subtype}; boundary="{mark}"\r\n\r\n{inner}--{mark}--\r\n'


def _part(headers: Sequence[str], body: str) -> str:
    return "\r\n".join([*headers, "", body.replace("\n", "\r\n")])


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
