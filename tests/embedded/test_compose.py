"""The containers run what the demo runs; the images themselves are built by no test."""

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import yaml

from portal.embedded import commands, place

COMPOSE: dict[str, Any] = yaml.safe_load((place.PROJECT / "docker-compose.yml").read_text())
IMAGE = (place.PROJECT / "portal" / "deploy" / "Dockerfile").read_text()
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
    assert described["build"] == {"context": ".", "dockerfile": "portal/deploy/Dockerfile"}
    assert described["environment"] == COMPOSE["x-portal"]["environment"]
    assert described["volumes"] == [f"state:{STATE}"]


def test_the_migrations_end_before_the_portal_starts() -> None:
    for service in PORTAL:
        waits_for = COMPOSE["services"][service]["depends_on"]
        assert waits_for["migrate"] == {"condition": "service_completed_successfully"}
    assert COMPOSE["services"]["migrate"]["restart"] == "no"


def test_every_lasting_service_has_a_health_check() -> None:
    lasting = [service for name, service in COMPOSE["services"].items() if name != "migrate"]
    assert all(service["healthcheck"]["test"] for service in lasting)


def test_no_secret_has_a_default() -> None:
    text = (place.PROJECT / "docker-compose.yml").read_text()
    for secret in ("SECRET_KEY", "DATABASE_PASSWORD", "EMAIL_URL", "ALLOWED_HOSTS", "BASE_URL"):
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
    assert "--require-hashes --requirement requirements.txt" in IMAGE
    assert IMAGE.index("USER portal") > IMAGE.index("pip install")


def test_the_image_starts_the_web_server_by_itself() -> None:
    start = IMAGE.rpartition("CMD ")[2]
    assert yaml.safe_load(start) == PORTAL["web"]
