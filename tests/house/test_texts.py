"""No file of the project names the machine it was made on, a package server, or a real person's address."""

import re

import pytest

from tests.house.source import own_texts

# Written so that this file does not find itself.
MACHINE = re.compile(r"(?<![\w.}])/(?:work|tmp|root)\b|\.(?:\.[/]shared|librar[y]/)")
# In a container the folder is its own.
COMPOSE, IN_MEMORY = "docker-compose.yml", re.compile(r"^( *)tmpfs:\n(?:\1 *- \S+\n)+", re.MULTILINE)
HOSTS = re.compile(r"py[p]i\.org|pythonhoste[d]|npm[j]s|deb\.debia[n]|docker\.i[o]|ghcr\.i[o]|quay\.i[o]")
ADDRESS = re.compile(r"[\w.+-]+@(?:[\w-]+\.)+[a-z]{2,}")
# Names that the standard on reserved names (RFC 2606) keeps free of real people.
RESERVED = re.compile(r"@(?:[\w-]+\.)*(?:example(?:\.(?:org|com|net))?|test|invalid|localhost)$", re.IGNORECASE)


def machine_paths(text: str) -> list[str]:
    return [found.group() for found in MACHINE.finditer(text)]


def without_mounts(name: str, text: str) -> str:
    return IN_MEMORY.sub("", text) if name == COMPOSE else text


def real_addresses(text: str) -> list[str]:
    return [found for found in ADDRESS.findall(text) if not RESERVED.search(found)]


def test_no_file_names_a_folder_of_one_machine() -> None:
    texts = {name: without_mounts(name, text) for name, text in own_texts()}
    assert {name: found for name, text in texts.items() if (found := machine_paths(text))} == {}


def test_no_file_names_a_package_server() -> None:
    assert {name: found for name, text in own_texts() if (found := HOSTS.findall(text))} == {}


def test_every_mail_address_is_of_a_reserved_domain() -> None:
    assert {name: found for name, text in own_texts() if (found := real_addresses(text))} == {}


@pytest.mark.parametrize("folder", ["work", "tmp", "root"])
def test_a_machine_path_is_found_wherever_it_stands(folder: str) -> None:
    assert machine_paths(f"see /{folder}/x") == machine_paths(f"'/{folder}/x'") != []
    assert machine_paths(f"site/{folder}/x") == machine_paths(f"/{folder}shop") == []


def test_only_a_folder_in_memory_of_a_container_may_be_named_so() -> None:
    folder = "/" + "tmp"
    mounted = f"web:\n  tmpfs:\n    - {folder}\n    - /run\n  volumes:\n"
    assert machine_paths(without_mounts(COMPOSE, mounted)) == []
    assert machine_paths(without_mounts("other.yml", mounted)) == [folder]
    assert machine_paths(without_mounts(COMPOSE, f"{mounted}    - {folder}:/var/lib\n")) == [folder]


def test_a_real_address_is_told_from_a_reserved_one() -> None:
    assert real_addresses("ann@example.org, bo@mail.river.example and cy@river." + "net") == [
        "cy@river." + "net"
    ]
