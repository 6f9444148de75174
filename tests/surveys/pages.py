"""Steps that the page tests share: who is signed in, addresses, and a submission as the form posts it."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator, Mapping
from html import unescape
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from portal.accounts.models import Group, User

# Parts of a count that the form calls otherwise.
NAMES = {"recorded_as": "as", "by_key": "key"}


def signed_in(user: User) -> Client:
    """A browser of that person."""
    client = Client()
    client.force_login(user)
    return client


def address(name: str, group: Group, **ids: Any) -> str:
    """The address of a page of the group."""
    return reverse(name, kwargs={"slug": group.slug, **ids})


def text_of(response: Any) -> str:
    """The words of a page, tags and spare blanks left out."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


def post_of(data: Mapping[str, Any]) -> dict[str, str]:
    """Submission data under the flat names of the form."""
    return dict(_fields(data))


def _fields(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for name, value in data.items():
        if name == "was_made":
            yield name, "yes" if value else "no"
        elif name == "spots":
            for spot in value:
                parts = ((part, text) for part, text in spot.items() if part != "number")
                # What the kick timer wrote is text of its own; all else is typed.
                written = ((part, json.dumps(text) if part == "timed" else str(text)) for part, text in parts)
                yield from ((f"spots-{spot['number']}-{part}", text) for part, text in written)
        elif name == "measurements":
            for key, reading in value.items():
                yield from ((f"measurements-{key}-{part}", text) for part, text in reading.items())
        elif name == "counts":
            for entry in value:
                yield from (
                    (f"counts-{entry['taxon']}-{NAMES.get(part, part)}", str(entry[part]))
                    for part in entry
                    if part != "taxon"
                )
        elif name not in ("id", "site"):
            yield name, str(value)


def picture(name: str = "bank.jpg", size: tuple[int, int] = (40, 30)) -> SimpleUploadedFile:
    """A small photo as a phone sends it."""
    encoded = io.BytesIO()
    Image.new("RGB", size, "seagreen").save(encoded, "JPEG")
    return SimpleUploadedFile(name, encoded.getvalue(), "image/jpeg")
