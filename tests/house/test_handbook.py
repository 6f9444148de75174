"""The operator's papers name what exists, and all of it: commands, settings, figures, states, log lines."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator

import pytest
import yaml
from django.conf import settings
from django.core.management import get_commands
from prometheus_client.parser import text_string_to_metric_families

from portal.audit.metrics import TrailCollector
from portal.outbox.metrics import metrics_page
from tests.house.source import PROJECT

README = (PROJECT / "README.md").read_text()
DEPLOY = PROJECT / "portal" / "deploy"
HANDBOOK = (DEPLOY / "HANDBOOK.md").read_text()
PAPERS = {
    name: (DEPLOY / name).read_text()
    for name in ("HANDBOOK.md", "SETTINGS.md", "BACKUPS.md", "CAPACITY.md", "SECURITY.md")
}
COMPOSE = yaml.safe_load((PROJECT / "docker-compose.yml").read_text())
SETTINGS = "".join(path.read_text() for path in (PROJECT / "portal" / "settings").glob("*.py"))
# For whoever changes the portal: DEVELOPERS.md and the Makefile name them.
OF_DEVELOPERS = {"makemessages", "collect_texts"}
# Read by other programs, or of the compose file and the units alone.
OF_OTHERS = {"WEB", "RELEASE", "REQUIREMENTS", "PGOPTIONS", "OTEL_EXPORTER_OTLP_ENDPOINT"}
# Told by the compose file in another way than by a line of its own.
OF_THE_IMAGE = {"PORTAL_STATE_DIR", "STATIC_ROOT", "MEDIA_ROOT", "DEBUG", "DEMO", "BACKUP_KEY", "MAP_LINK"}
VARIABLE = re.compile(r"`([A-Z][A-Z_]{3,})=?[^`]*`")
LOGGED = {"warning", "error", "exception", "critical"}


DEVELOPERS = (PROJECT / "DEVELOPERS.md").read_text()
# Types for the checker, and parts of what has a row.
WITH_ANOTHER = re.compile(r"^types-|-(stubs|types)$|^opentelemetry-(exporter|instrumentation)")


def settings_table() -> set[str]:
    """Every variable of the table of settings."""
    rows = re.findall(r"^\| (`[A-Z][^|]*) \|", PAPERS["SETTINGS.md"], re.MULTILINE)
    return {name for row in rows for name in re.findall(r"`([A-Z_]+)`", row)}


def read_by_settings() -> set[str]:
    return set(re.findall(r'env(?:\.\w+)?\(\s*"([A-Z_]+)"', SETTINGS)) | {
        "BACKUP_KEY",
        "OTEL_EXPORTER_OTLP_ENDPOINT",
    }


def rows_of(heading: str) -> str:
    """The table below a heading of the handbook."""
    return HANDBOOK.split(f"## {heading}\n")[1].split("\n## ")[0]


def own_commands() -> set[str]:
    found = {name: app for name, app in get_commands().items() if isinstance(app, str)}
    return {name for name, app in found.items() if app.split(".")[0] in {"portal", "surveys", "alerts"}}


def test_every_command_that_is_named_exists_and_every_command_is_named() -> None:
    named = set(re.findall(r"manage\.py (\w+)", README + "".join(PAPERS.values())))
    assert named - get_commands().keys() == set()
    assert own_commands() - named - OF_DEVELOPERS == set()


def test_every_setting_has_its_row_and_every_row_its_setting() -> None:
    assert settings_table() == read_by_settings()


def test_every_setting_that_is_named_exists() -> None:
    named = {name for text in PAPERS.values() for name in VARIABLE.findall(text)}
    known = settings_table() | OF_OTHERS | set(dir(settings))
    assert {name for name in named if "_" in name} - known == set()


def test_the_containers_are_given_every_setting() -> None:
    given = COMPOSE["x-portal"]["environment"].keys() | COMPOSE["services"]["migrate"]["environment"].keys()
    # A portal in production refuses any other second factor than its own.
    optional = {"SECOND_FACTOR", "DATABASE_OWNER_URL", "DATABASE_ROLE"}
    assert settings_table() - given - OF_THE_IMAGE - optional == set()


@pytest.mark.django_db
def test_every_figure_has_its_row() -> None:
    page = metrics_page(TrailCollector()).decode()
    there = {family.name for family in text_string_to_metric_families(page)}
    named = set(re.findall(r"`(rifflebook_\w+)`", rows_of("What /metrics/ says")))
    assert {name.removesuffix("_info") for name in there} == named


def test_every_state_of_health_has_its_row() -> None:
    source = (PROJECT / "portal" / "views" / "service.py").read_text()
    states = set(re.findall(r'"status": "(\w+)"', source))
    body = source.split("def _state")[1].split("\n\n\n")[0]
    states |= set(re.findall(r'return "(\w+)"', body)) | set(re.findall(r'"(\w+)" (?:if|else)', body))
    states |= set(re.findall(r'else "(\w+)"', body))
    assert states == set(re.findall(r"^\| `(\w+)` \|", rows_of("What /health/ says"), re.MULTILINE))
    assert len(states) >= 4


def lines_logged() -> Iterator[str]:
    """How each line begins that the portal logs as a warning or worse."""
    for app in ("portal", "surveys", "alerts"):
        for path in (PROJECT / app).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text())):
                if is_log_call(node):
                    yield str(node.args[0].value).split("%")[0].strip().rstrip("(").strip()  # type: ignore[attr-defined]


def is_log_call(node: ast.AST) -> bool:
    return (
        isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in LOGGED
        and isinstance(node.func.value, ast.Name)
        and node.func.value.id in {"log", "logger"}
        and isinstance(node.args[0], ast.Constant)
    )


def test_every_line_of_the_log_has_its_row() -> None:
    rows = re.findall(r"^\| `([^`]+)`", rows_of("What the log says"), re.MULTILINE)
    lines = set(lines_logged())
    assert len(lines) > 6
    assert {line for line in lines if not any(line.startswith(row.strip()) for row in rows)} == set()
    at_the_start = {"The portal does not start"}
    assert {row for row in rows if not any(line.startswith(row.strip()) for line in lines)} == at_the_start


def test_every_dependency_has_its_reason() -> None:
    project = tomllib.loads((PROJECT / "pyproject.toml").read_text())["project"]
    asked = [
        *project["dependencies"],
        *(each for some in project["optional-dependencies"].values() for each in some),
    ]
    names = {re.split(r"[\[<>=]", each)[0] for each in asked}
    table = DEVELOPERS.split("## Why each dependency is there\n")[1].split("\n## ")[0]
    rows = " ".join(re.findall(r"^\| ([^|]+) \|", table, re.MULTILINE))
    named = set(re.findall(r"[\w-]+", rows))
    assert {name for name in names if not WITH_ANOTHER.search(name)} - named == set()


@pytest.mark.parametrize("paper", PAPERS)
def test_every_link_leads_somewhere(paper: str) -> None:
    for target in re.findall(r"\]\(([^)#]+)", PAPERS[paper]):
        assert target.startswith("https://") or (DEPLOY / target).exists(), target


def test_every_make_target_that_is_named_exists() -> None:
    targets = set(re.findall(r"^([a-z-]+):", (PROJECT / "Makefile").read_text(), re.MULTILINE))
    named = set(re.findall(r"`make ([a-z-]+)", README + "".join(PAPERS.values())))
    assert named - targets == set()
