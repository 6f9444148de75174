"""A mail server for the outbox, and messages to send."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Protocol

import pytest
from pytest_django import Settings

from portal.outbox.models import Message
from portal.outbox.services import owe_message
from tests.mail import Postbox, receiving, smtp_settings


class Owe(Protocol):
    def __call__(self, key: str = "k", **changes: Any) -> Message: ...


@pytest.fixture
def postbox(settings: Settings) -> Iterator[Postbox]:
    with receiving() as box:
        settings.OUTBOX_SMTP = smtp_settings(box.port)
        yield box


@pytest.fixture
def owe() -> Owe:
    def make(key: str = "k", **changes: Any) -> Message:
        fields: dict[str, Any] = {
            "kind": "test",
            "to_address": "reader@agency.example",
            "subject": "A low score",
            "text": "Twelve is below sixteen.\n",
        }
        return owe_message(key=key, **(fields | changes))

    return make


def again(message: Message) -> Message:
    """The row as it stands now."""
    return Message.objects.across_groups("tests look at all").get(id=message.id)
