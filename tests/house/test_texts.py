"""No file of the project names the machine it was made on, a package server, or a real person's address."""

import re

import pytest

from tests.house.source import own_texts

# Written so that this file does not find itself.
MACHINE = re.compile(r"(?<![\w.}])/(?:work|tmp|root)\b|\.(?:\.[/]shared|librar[y]/)")
HOSTS = re.compile(r"py[p]i\.org|pythonhoste[d]|npm[j]s|deb\.debia[n]|docker\.i[o]|ghcr\.i[o]|quay\.i[o]")
ADDRESS = re.compile(r"[\w.+-]+@(?:[\w-]+\.)+[a-z]{2,}")
# Names that the standard on reserved names (RFC 2606) keeps free of real people.
RESERVED = re.compile(r"@(?:[\w-]+\.)*(?:example(?:\.(?:org|com|net))?|test|invalid|localhost)$", re.IGNORECASE)


def machine_paths(text: str) -> list[str]:
    return [found.group() for found in MACHINE.finditer(text)]


def real_addresses(text: str) -> list[str]:
    return [found for found in ADDRESS.findall(text) if not RESERVED.search(found)]


def test_no_file_names_a_folder_of_one_machine() -> None:
    assert {name: found for name, text in own_texts() if (found := machine_paths(text))} == {}


def test_no_file_names_a_package_server() -> None:
    assert {name: found for name, text in own_texts() if (found := HOSTS.findall(text))} == {}


def test_every_mail_address_is_of_a_reserved_domain() -> None:
    assert {name: found for name, text in own_texts() if (found := real_addresses(text))} == {}


@pytest.mark.parametrize("folder", ["work", "tmp", "root"])
def test_a_machine_path_is_found_wherever_it_stands(folder: str) -> None:
    assert machine_paths(f"see /{folder}/x") == machine_paths(f"'/{folder}/x'") != []
    assert machine_paths(f"site/{folder}/x") == machine_paths(f"/{folder}shop") == []


def test_a_real_address_is_told_from_a_reserved_one() -> None:
    assert real_addresses("ann@example.org, bo@mail.river.example and cy@river." + "net") == [
        "cy@river." + "net"
    ]
