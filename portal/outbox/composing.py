"""Building the e-mail itself from an owed message."""

from __future__ import annotations

import html
import re
from email.headerregistry import Address, HeaderRegistry, UnstructuredHeader
from email.message import EmailMessage
from email.policy import SMTP, Policy
from email.utils import formatdate, parseaddr

from django.conf import settings

from portal.outbox.models import Message
from portal.outbox.pictures import draw_picture


class WholeHeader(UnstructuredHeader):
    """A header on one line, however long: folded, an address would be encoded past recognition."""

    # Set by the registry's own class.
    name: str

    def fold(self, *, policy: Policy) -> str:
        """The header as it is sent."""
        return f"{self.name}: {self}{policy.linesep}"


_HEADERS = HeaderRegistry()
_HEADERS.map_to_type("list-unsubscribe", WholeHeader)  # type: ignore[arg-type]
POLICY = SMTP.clone(header_factory=_HEADERS)
PLACE_OF_PICTURE = "cid:picture"
_PICTURE_TAG = re.compile(r'<img\b[^>]*\bsrc="cid:picture"[^>]*>')
_ALT = re.compile(r'\balt="([^"]*)"')


def sender() -> Address:
    """The address all mail comes from."""
    name, address = parseaddr(settings.DEFAULT_FROM_EMAIL)
    return Address(name, addr_spec=address)


def message_id(message: Message) -> str:
    """The same for every copy ever sent of one message, so that mail programs fold a second copy."""
    return f"<{message.id}@{sender().domain}>"


def compose(message: Message) -> EmailMessage:
    """The e-mail with text, HTML and picture. Raises ValueError for an address that cannot be written."""
    mail = EmailMessage(policy=POLICY)
    mail["Subject"] = message.subject
    mail["From"] = sender()
    mail["To"] = Address(message.to_name, addr_spec=_ascii_address(message.to_address))
    mail["Date"] = formatdate(localtime=False)
    mail["Message-ID"] = message_id(message)
    # Asks auto-responders to keep still (RFC 3834).
    mail["Auto-Submitted"] = "auto-generated"
    if message.reply_to:
        mail["Reply-To"] = message.reply_to
    if message.unsubscribe_url:
        mail["List-Unsubscribe"] = f"<{message.unsubscribe_url}>"
        mail["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    mail.set_content(message.text)
    if message.html:
        _add_html(mail, message)
    return mail


def _add_html(mail: EmailMessage, message: Message) -> None:
    picture = draw_picture(message)
    if picture is None:
        mail.add_alternative(_without_picture(message.html), subtype="html")
        return
    name = message_id(message).replace("<", "<picture.")
    mail.add_alternative(message.html.replace(PLACE_OF_PICTURE, f"cid:{name[1:-1]}"), subtype="html")
    parts = mail.get_payload()
    parts[1].add_related(  # type: ignore[index, union-attr]
        picture, "image", "png", cid=name, filename="picture.png", disposition="inline"
    )


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
