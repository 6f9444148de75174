"""Health for monitors, the style guide, and the demonstration's inbox."""

from __future__ import annotations

from datetime import timedelta
from email.message import EmailMessage
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.db import OperationalError, connection
from django.test import Client
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families

from portal.outbox.heartbeats import PARTS, note_alive
from portal.outbox.models import Heartbeat, Message
from portal.outbox.services import owe_message
from tests.conftest import Cast

pytestmark = pytest.mark.django_db


def owed(minutes: int, **fields: object) -> None:
    message = owe_message(key=f"k{minutes}", kind="alert", to_address="a@example.org", subject="s", text="t")
    then = timezone.now() - timedelta(minutes=minutes)
    Message.objects.across_groups("test").filter(id=message.id).update(
        created_at=then, **{"not_before": then, **fields}
    )


@pytest.fixture
def alive() -> None:
    for part in PARTS:
        note_alive(part)


def test_it_is_well_when_nothing_is_owed(client: Client, alive: None) -> None:
    answer = client.get("/health/")
    assert answer.status_code == 200
    told = answer.json()
    assert (told.pop("worker_seconds"), told.pop("scheduler_seconds")) < (30, 30)
    assert told == {"status": "ok", "database": True, "oldest_owed_seconds": 0, "unsealed_seconds": 0}


@pytest.mark.parametrize(("minutes", "status"), [(4, 200), (6, 503)])
def test_a_late_message_is_an_alarm(client: Client, alive: None, minutes: int, status: int) -> None:
    owed(minutes)
    answer = client.get("/health/")
    assert answer.status_code == status
    assert minutes * 60 <= answer.json()["oldest_owed_seconds"] < minutes * 60 + 30


def test_sent_messages_and_those_for_later_are_no_alarm(client: Client, alive: None) -> None:
    owed(60, state="sent")
    owed(61, not_before=timezone.now() + timedelta(hours=1))
    assert client.get("/health/").status_code == 200


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize(("seconds", "status"), [(100, 200), (140, 503)])
def test_a_silent_part_is_an_alarm(client: Client, alive: None, part: str, seconds: int, status: int) -> None:
    Heartbeat.objects.filter(name=part).update(at=timezone.now() - timedelta(seconds=seconds))
    answer = client.get("/health/")
    assert answer.status_code == status
    assert seconds <= answer.json()[f"{part}_seconds"] < seconds + 15
    assert answer.json()["status"] == ("ok" if status == 200 else "silent")


@pytest.mark.parametrize("part", PARTS)
def test_a_part_that_was_never_started_is_an_alarm(client: Client, alive: None, part: str) -> None:
    Heartbeat.objects.filter(name=part).delete()
    answer = client.get("/health/")
    assert (answer.status_code, answer.json()[f"{part}_seconds"]) == (503, None)


def test_a_database_that_is_away_is_an_alarm(client: Client) -> None:
    def refuse(*_given: object) -> None:
        raise OperationalError("the server closed the connection")

    with connection.execute_wrapper(refuse):
        answer = client.get("/health/")
    assert (answer.status_code, answer.json()) == (503, {"status": "down", "database": False})


def test_the_desk_says_on_top_that_mail_is_stuck(client: Client, cast: Cast) -> None:
    client.force_login(cast.coordinator)
    address = f"/groups/{cast.group.slug}/"
    assert "E-mails are not getting out" not in client.get(address).content.decode()
    owed(6)
    page = client.get(address).content.decode()
    assert "The oldest has waited for 6 minutes." in " ".join(page.split())
    assert page.index("E-mails are not getting out") < page.index('id="to-check"')


class TestMetrics:
    """Figures for a monitor, read back by the reader of the format's own library."""

    @pytest.fixture
    def token(self, settings: LazySettings) -> str:
        token = "a-long-token-of-the-monitor"
        settings.METRICS_TOKEN = token
        return token

    def figures(self, client: Client, token: str) -> dict[tuple[str, str], float]:
        answer = client.get("/metrics/", headers={"Authorization": f"Bearer {token}"})
        assert answer.status_code == 200
        found = text_string_to_metric_families(answer.content.decode())
        samples = [sample for family in found for sample in family.samples]
        return {(each.name, "".join(each.labels.values())): each.value for each in samples}

    def test_it_gives_what_is_owed_and_who_is_alive(self, client: Client, token: str, alive: None) -> None:
        owed(6)
        owed(7, attempts_made=3)
        owed(90, state="sent")
        told = self.figures(client, token)
        assert told["rifflebook_messages", "owed"] == 2
        assert told["rifflebook_messages", "sent"] == 1
        assert told["rifflebook_messages", "failed"] == 0
        assert told["rifflebook_owed_attempts", ""] == 3
        assert 420 <= told["rifflebook_oldest_owed_seconds", ""] < 450
        assert told["rifflebook_heartbeat_age_seconds", "worker"] < 30

    def test_it_gives_no_sign_of_life_of_what_never_lived(self, client: Client, token: str) -> None:
        assert ("rifflebook_heartbeat_age_seconds", "worker") not in self.figures(client, token)

    @pytest.mark.parametrize("given", ["", "Bearer ", "Bearer wrong", "Basic abc"])
    def test_nobody_else_finds_the_page(self, client: Client, token: str, given: str) -> None:
        assert client.get("/metrics/", headers={"Authorization": given}).status_code == 404

    @pytest.mark.parametrize("given", ["", "Bearer "])
    def test_without_a_token_there_is_no_page(self, client: Client, given: str) -> None:
        assert client.get("/metrics/", headers={"Authorization": given}).status_code == 404


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
