"""Health for monitors, the style guide, and the demonstration's inbox."""

from __future__ import annotations

from datetime import timedelta
from email.message import EmailMessage
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.test import Client
from django.utils import timezone

from portal.outbox.models import Message
from portal.outbox.services import owe_message

pytestmark = pytest.mark.django_db


def owed(minutes: int, **fields: object) -> None:
    message = owe_message(key=f"k{minutes}", kind="alert", to_address="a@example.org", subject="s", text="t")
    then = timezone.now() - timedelta(minutes=minutes)
    Message.objects.across_groups("test").filter(id=message.id).update(
        created_at=then, **{"not_before": then, **fields}
    )


def test_it_is_well_when_nothing_is_owed(client: Client) -> None:
    answer = client.get("/health/")
    assert answer.status_code == 200
    assert answer.json() == {"status": "ok", "database": True, "oldest_owed_seconds": 0}


@pytest.mark.parametrize(("minutes", "status"), [(4, 200), (6, 503)])
def test_a_late_message_is_an_alarm(client: Client, minutes: int, status: int) -> None:
    owed(minutes)
    answer = client.get("/health/")
    assert answer.status_code == status
    assert minutes * 60 <= answer.json()["oldest_owed_seconds"] < minutes * 60 + 30


def test_sent_messages_and_those_for_later_are_no_alarm(client: Client) -> None:
    owed(60, state="sent")
    owed(61, not_before=timezone.now() + timedelta(hours=1))
    assert client.get("/health/").status_code == 200


def test_health_is_never_cached(client: Client) -> None:
    assert "no-store" in client.get("/health/")["Cache-Control"]


def test_the_style_guide_shows_every_part(client: Client) -> None:
    page = client.get("/developers/style/").content.decode()
    assert "Style guide" in page
    assert page.count("<svg") > 20


def mail(folder: Path, name: str, subject: str) -> None:
    message = EmailMessage()
    message["Subject"], message["From"], message["To"] = subject, "portal@example.org", "officer@example.org"
    message.set_content("Look: http://localhost:8000/alert/abc/ <script>alert(1)</script>")
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{name}.eml").write_bytes(bytes(message))


def test_the_demo_inbox_lists_and_shows_mail(client: Client, settings: LazySettings, tmp_path: Path) -> None:
    settings.DEMO, settings.STATE_DIR = True, tmp_path
    mail(tmp_path / "demo-inbox", "one", "Low score")
    assert "Low score" in client.get("/demo/inbox/").content.decode()
    page = client.get("/demo/inbox/one/").content.decode()
    assert 'href="http://localhost:8000/alert/abc/"' in page
    assert "<script>alert" not in page


def test_a_name_from_outside_the_inbox_is_unknown(
    client: Client, settings: LazySettings, tmp_path: Path
) -> None:
    settings.DEMO, settings.STATE_DIR = True, tmp_path
    mail(tmp_path, "secret", "Not for reading")
    assert client.get("/demo/inbox/..%2Fsecret/").status_code == 404
    assert client.get("/demo/inbox/secret/").status_code == 404


def test_without_the_demonstration_there_is_no_inbox(client: Client, settings: LazySettings) -> None:
    settings.DEMO = False
    assert client.get("/demo/inbox/").status_code == 404
