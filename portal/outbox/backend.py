"""Django's own mail goes through the outbox too."""

from __future__ import annotations

from collections.abc import Sequence
from uuid import uuid4

from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

from portal.outbox.services import owe_message


class OutboxBackend(BaseEmailBackend):
    """Writes an outbox row for each recipient instead of speaking to a mail server."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        """Owe the messages; attachments raise ValueError, because the outbox keeps none."""
        for mail in email_messages:
            if mail.attachments:
                raise ValueError("The outbox carries no attachments.")
            for address in mail.recipients():
                self._owe(mail, address)
        return len(email_messages)

    def _owe(self, mail: EmailMessage, address: str) -> None:
        parts = getattr(mail, "alternatives", None) or []
        html = next((str(content) for content, kind in parts if kind == "text/html"), "")
        owe_message(
            key=f"mail:{uuid4()}",
            kind="account",
            to_address=address,
            subject=str(mail.subject),
            text=str(mail.body),
            html=html,
            reply_to=", ".join(mail.reply_to),
        )
