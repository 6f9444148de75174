"""The containers run what the demo runs; the images themselves are built by no test."""

import os
import re
import shlex
from pathlib import Path
from typing import Any

import psycopg
import pytest
import yaml

from portal.embedded import commands, place
from surveys.importing.reading import MOST_BYTES
from surveys.services.photos import LARGEST_BYTES

COMPOSE: dict[str, Any] = yaml.safe_load((place.PROJECT / "docker-compose.yml").read_text())
IMAGE = (place.PROJECT / "portal" / "deploy" / "Dockerfile").read_text()
PORTALS = COMPOSE["x-portal"]
PROXY = (place.PROJECT / "portal" / "deploy" / "Caddyfile").read_text()
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
STATE = Path("/var/lib/rifflebook")
PORTAL = {
    "web": commands.web("0.0.0.0:8000"),
    "worker": commands.worker(),
    "beat": commands.beat(STATE / "beat-schedule"),
}


@pytest.mark.parametrize("service", PORTAL)
def test_a_service_runs_the_command_of_the_demo(service: str) -> None:
    assert shlex.split(COMPOSE["services"][service]["command"]) == PORTAL[service]


@pytest.mark.parametrize("service", [*PORTAL, "migrate"])
def test_the_portals_services_share_image_settings_and_state(service: str) -> None:
    described = COMPOSE["services"][service]
    assert (described["build"], described["image"]) == (PORTALS["build"], PORTALS["image"])
    assert PORTALS["build"]["dockerfile"] == "portal/deploy/Dockerfile"
    own = described["environment"].keys() - PORTALS["environment"].keys()
    assert own <= ({"PGOPTIONS", "DATABASE_OWNER_URL"} if service == "migrate" else set())
    assert PORTALS["environment"].items() <= described["environment"].items()
    assert described["volumes"] == [f"state:{STATE}"]


def test_the_migrations_end_before_the_portal_starts() -> None:
    for service in PORTAL:
        waits_for = COMPOSE["services"][service]["depends_on"]
        assert waits_for["migrate"] == {"condition": "service_completed_successfully"}
    assert COMPOSE["services"]["migrate"]["restart"] == "no"


def test_every_lasting_service_has_a_health_check() -> None:
    lasting = [service for name, service in COMPOSE["services"].items() if name != "migrate"]
    assert all(service["healthcheck"]["test"] for service in lasting)


def test_the_proxy_alone_can_be_reached_from_outside() -> None:
    assert {name for name, service in COMPOSE["services"].items() if "ports" in service} == {"proxy"}
    assert COMPOSE["networks"]["data"] == {"internal": True}
    for name in ("postgres", "redis", "migrate", "beat"):
        assert COMPOSE["services"][name]["networks"] == ["data"], name
    assert PORTALS["environment"]["PROXIES"] == "${PROXIES:-1}"


def test_no_log_fills_the_disk_and_every_lasting_service_starts_again_and_has_a_limit() -> None:
    for name, service in COMPOSE["services"].items():
        assert service["logging"]["options"] == {"max-size": "10m", "max-file": "5"}, name
        if name != "migrate":
            assert service["restart"] == "unless-stopped", name
            assert service["deploy"]["resources"]["limits"]["memory"], name


def test_what_is_under_way_is_finished_before_a_container_is_killed() -> None:
    seconds = {name: int(service.get("stop_grace_period", "10s")[:-1]) for name, service in SERVICES.items()}
    # gunicorn's own limit is 30 s; a claim of the outbox stands six times the mail server's 20 s.
    assert seconds["web"] > 30
    assert seconds["worker"] > 6 * 20
    assert seconds["proxy"] > int(re.findall(r"grace_period (\d+)s", PROXY)[0])


def test_the_proxy_lets_through_the_largest_file_that_the_portal_takes() -> None:
    largest = int(re.findall(r"max_size (\d+)MB", PROXY)[0]) * 1_000_000
    assert max(MOST_BYTES, LARGEST_BYTES) < largest < 2 * max(MOST_BYTES, LARGEST_BYTES)
    # gunicorn closes an idle line after 2 s.
    assert re.findall(r"keepalive (\d+)s", PROXY) == ["1"]
    assert "log {" not in PROXY, "addresses in mails let people in"


def test_a_migration_gives_up_before_everybody_waits_behind_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PGOPTIONS", COMPOSE["services"]["migrate"]["environment"]["PGOPTIONS"])
    with psycopg.connect(os.environ["DATABASE_URL"]) as line:
        assert line.execute("SHOW lock_timeout").fetchone() == ("10s",)


def test_no_secret_has_a_default() -> None:
    text = (place.PROJECT / "docker-compose.yml").read_text()
    for secret in (
        "SECRET_KEY",
        "DATABASE_PASSWORD",
        "DATABASE_APP_PASSWORD",
        "EMAIL_URL",
        "ALLOWED_HOSTS",
        "BASE_URL",
    ):
        uses = re.findall(rf"\${{{secret}\b(.)", text)
        assert uses
        assert set(uses) == {":"}, secret
        assert f"${{{secret}:-" not in text


def test_a_queue_survives_its_container() -> None:
    broker = COMPOSE["services"]["redis"]
    assert "--appendonly yes" in broker["command"]
    assert broker["volumes"] == ["queue:/data"]


def test_the_image_holds_every_app() -> None:
    for folder in ("scoring", "portal", "surveys", "alerts", "templates"):
        assert f"COPY {folder} {folder}\n" in IMAGE
        assert f"!{folder}\n" in (place.PROJECT / ".dockerignore").read_text()


def test_the_image_installs_only_what_the_lock_vouches_for() -> None:
    assert "--require-hashes --requirement ${REQUIREMENTS}" in IMAGE
    assert "ARG REQUIREMENTS=requirements.txt\n" in IMAGE
    assert IMAGE.index("USER portal") > IMAGE.index("pip install")


def test_the_image_starts_the_web_server_by_itself() -> None:
    start = IMAGE.rpartition("CMD ")[2]
    assert yaml.safe_load(start) == PORTAL["web"]
