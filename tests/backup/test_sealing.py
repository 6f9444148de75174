"""What is encrypted comes out again byte for byte with its key, and not at all otherwise."""

from __future__ import annotations

import io
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import pytest

from portal.backup import archive, sealing
from portal.backup.problems import BackupProblem

PUBLIC, SECRET = sealing.new_key()
_, OTHER = sealing.new_key()
CONTENT = bytes(range(256)) * 1_000


def sealed(path: Path, content: bytes = CONTENT) -> Path:
    with path.open("wb") as target:
        sealing.encrypt(iter([content]), target, sealing.encrypting_key({"BACKUP_KEY": PUBLIC}))
    return path


def opened(path: Path, secret: str = SECRET) -> bytes:
    with sealing.decrypted(path, sealing.decrypting_key({"BACKUP_KEY": secret})) as stream:
        return stream.read()


def test_what_the_public_half_encrypts_the_secret_half_reads(tmp_path: Path) -> None:
    path = sealed(tmp_path / "b")
    assert opened(path) == CONTENT
    assert CONTENT[:64] not in path.read_bytes()


def test_the_secret_half_encrypts_for_itself(tmp_path: Path) -> None:
    key = sealing.encrypting_key({"BACKUP_KEY": f" {SECRET}\n"})
    assert str(key) == PUBLIC


def test_another_key_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BackupProblem, match="was not made for this BACKUP_KEY"):
        opened(sealed(tmp_path / "b"), OTHER)


@pytest.mark.parametrize("place", [0, 30, 150, 300, 100_000, -1])
def test_one_flipped_bit_is_found_wherever_it_is(place: int, tmp_path: Path) -> None:
    path = sealed(tmp_path / "b")
    changed = bytearray(path.read_bytes())
    changed[place] ^= 1
    path.write_bytes(changed)
    with pytest.raises(BackupProblem, match=r"changed|not made for"):
        opened(path)


@pytest.mark.parametrize("kept", [0, 100, 65_000, len(CONTENT)])
def test_what_was_cut_off_is_refused(kept: int, tmp_path: Path) -> None:
    path = sealed(tmp_path / "b")
    path.write_bytes(path.read_bytes()[:kept])
    with pytest.raises(BackupProblem, match=r"cut off|no backup"):
        opened(path)


def test_a_change_behind_what_was_read_is_found(tmp_path: Path) -> None:
    path = sealed(tmp_path / "b")
    changed = bytearray(path.read_bytes())
    changed[-1] ^= 1
    path.write_bytes(changed)
    with (
        pytest.raises(BackupProblem, match="changed"),
        sealing.decrypted(path, sealing.decrypting_key({"BACKUP_KEY": SECRET})) as stream,
    ):
        assert stream.read(10) == CONTENT[:10]


def test_a_file_that_is_not_there_is_told_by_its_name(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever mistypes the name must not take their backup for a bad one."""
    with pytest.raises(BackupProblem, match=r"gone\.age cannot be opened: No such file or directory"):
        opened(tmp_path / "gone.age")
    assert capsys.readouterr().err == ""


def test_a_reader_that_fails_is_heard(tmp_path: Path) -> None:
    path = sealed(tmp_path / "b", CONTENT * 10)
    with (
        pytest.raises(ValueError, match="no number"),
        sealing.decrypted(path, sealing.decrypting_key({"BACKUP_KEY": SECRET})) as stream,
    ):
        int(stream.read(10).hex() + " is no number")


def test_what_the_source_says_is_heard() -> None:
    def pieces() -> Iterator[bytes]:
        yield b"x"
        raise BackupProblem("The photo was changed.")

    with pytest.raises(BackupProblem, match="The photo was changed"):
        sealing.encrypt(pieces(), io.BytesIO(), sealing.encrypting_key({"BACKUP_KEY": PUBLIC}))


def test_a_full_disk_is_told(tmp_path: Path) -> None:
    with open("/dev/full", "wb", buffering=0) as full, pytest.raises(BackupProblem, match="No space left"):
        sealing.encrypt(iter([CONTENT]), full, sealing.encrypting_key({"BACKUP_KEY": PUBLIC}))


@pytest.mark.parametrize(
    ("given", "words"),
    [("", "Set BACKUP_KEY"), ("secret", "no key of age"), (f"{PUBLIC}q", "no key"), (f"{SECRET}Q", "no key")],
    # The keys are new in every process, and each must call its tests the same.
    ids=["none", "a word", "public half with a letter more", "secret half with a letter more"],
)
def test_a_key_that_is_none_is_told(given: str, words: str) -> None:
    with pytest.raises(BackupProblem, match=words):
        sealing.encrypting_key({"BACKUP_KEY": given})


def test_the_public_half_opens_nothing() -> None:
    with pytest.raises(BackupProblem, match="public half, which only encrypts"):
        sealing.decrypting_key({"BACKUP_KEY": PUBLIC})
    with pytest.raises(BackupProblem, match="no secret key"):
        sealing.decrypting_key({"BACKUP_KEY": "nonsense"})


def test_memory_stays_flat_however_much_there_is(tmp_path: Path) -> None:
    row, number = b"x" * 9_999 + b"\n", 4_000
    path = tmp_path / "b"
    tracemalloc.start()
    with path.open("wb") as target:
        pieces = archive.table_members("t", (row for _ in range(number)))
        sealing.encrypt(pieces, target, sealing.encrypting_key({"BACKUP_KEY": PUBLIC}))
    with sealing.decrypted(path, sealing.decrypting_key({"BACKUP_KEY": SECRET})) as stream:
        read = sum(len(content.read()) for _name, content in archive.members(stream))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert read == len(row) * number
    assert peak < 8 * archive.PIECE
