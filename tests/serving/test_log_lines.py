"""Lines of the log that tell of a signed link do not open it."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from portal.accounts.signing_in.address_changes import AGREE
from portal.serving.log_lines import WithoutTokens


@pytest.fixture
def lines() -> Iterator[io.StringIO]:
    """What the console says of requests."""
    said = io.StringIO()
    handler = logging.StreamHandler(said)
    handler.addFilter(WithoutTokens())
    logger = logging.getLogger("django.request")
    logger.addHandler(handler)
    yield said
    logger.removeHandler(handler)


def test_the_console_takes_tokens_out_of_its_lines() -> None:
    told: dict[str, Any] = settings.LOGGING
    filters = [told["filters"][name]["()"] for name in told["handlers"]["console"]["filters"]]
    assert filters == ["portal.serving.log_lines.WithoutTokens"]


@pytest.mark.django_db
def test_a_dead_link_is_logged_without_its_token(client: Client, lines: io.StringIO) -> None:
    url = reverse("account_address_agree", kwargs={"token": AGREE.make(uuid4())})
    token = url.rstrip("/").rsplit("/", 1)[1]
    assert client.get(url).status_code >= 400
    assert token not in lines.getvalue()
    assert "/email/agree/…/" in lines.getvalue()


@pytest.mark.django_db
def test_an_address_without_a_token_is_logged_as_it_is(client: Client, lines: io.StringIO) -> None:
    client.get("/nowhere/")
    assert "/nowhere/" in lines.getvalue()
