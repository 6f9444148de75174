"""The locked requirements hold what pyproject.toml asks for, each with its checksum."""

import re
import tomllib

import pytest

from tests.house.source import PROJECT

LOCKED = re.compile(r"^([\w.-]+)(?:\[[\w,-]+\])?==(\S+)", re.MULTILINE)


def plain_name(requirement: str) -> str:
    """The name without extras and versions, spelt as the package servers compare it."""
    return re.sub(r"[-_.]+", "-", re.split(r"[\[<>=!~ ;]", requirement)[0]).lower()


def locked(file: str) -> dict[str, set[str]]:
    """The versions of each package of a lock file; the platform may choose between two."""
    versions: dict[str, set[str]] = {}
    for name, version in LOCKED.findall((PROJECT / file).read_text()):
        versions.setdefault(plain_name(name), set()).add(version)
    return versions


def wanted(extra: str | None = None) -> set[str]:
    project = tomllib.loads((PROJECT / "pyproject.toml").read_text())["project"]
    names = project["optional-dependencies"][extra] if extra else project["dependencies"]
    return {plain_name(name) for name in names}


def test_the_locks_hold_every_package_asked_for() -> None:
    assert wanted() - locked("requirements.txt").keys() == set()
    assert (wanted() | wanted("dev")) - locked("requirements-dev.txt").keys() == set()
    for extra in ("tracing", "load"):
        assert (wanted() | wanted(extra)) - locked(f"requirements-{extra}.txt").keys() == set()


def test_production_runs_the_versions_that_the_tests_ran() -> None:
    tested = locked("requirements-dev.txt")
    for file in ("requirements.txt", "requirements-tracing.txt"):
        assert {name: tested.get(name) for name in locked(file)} == locked(file)


@pytest.mark.parametrize("file", sorted(path.name for path in PROJECT.glob("requirements*.txt")))
def test_every_locked_package_has_a_checksum(file: str) -> None:
    blocks = re.split(r"\n(?=[\w])", (PROJECT / file).read_text())
    unchecked = [block.split()[0] for block in blocks if LOCKED.match(block) and "--hash=sha256:" not in block]
    assert unchecked == []
