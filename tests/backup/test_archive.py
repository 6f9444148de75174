"""The content of a backup is a tar that any program reads."""

from __future__ import annotations

import io
import tarfile

import pytest

from portal.backup import archive
from portal.backup.problems import BackupProblem


def test_what_is_written_is_a_tar_of_others() -> None:
    name = "files/photos/" + "ä" * 120 + ".jpg"
    pieces = [
        *archive.member(name, 3, [b"ab", b"c"]),
        *archive.json_member("about.json", {"a": 1}),
        archive.END,
    ]
    with tarfile.open(fileobj=io.BytesIO(b"".join(pieces))) as read:
        assert read.getnames() == [name, "about.json"]
        content = read.extractfile(name)
        assert content is not None
        assert content.read() == b"abc"


def test_rows_are_gathered_and_none_is_lost() -> None:
    rows = [b"%d\n" % number * 1_000 for number in range(1_000)]
    written = b"".join([*archive.table_members("t", rows), archive.END])
    found = [(name, content.read()) for name, content in archive.members(io.BytesIO(written))]
    assert [name for name, _ in found] == [f"tables/t/{number:06}" for number in range(len(found))]
    assert 1 < len(found) < 10
    assert b"".join(content for _, content in found) == b"".join(rows)


def test_a_file_that_grows_or_shrinks_meanwhile_is_told() -> None:
    for size in (2, 4):
        with pytest.raises(BackupProblem, match="changed while it was read"):
            list(archive.member("files/p.jpg", size, [b"abc"]))


def test_what_is_no_tar_is_told() -> None:
    with pytest.raises(BackupProblem, match="no backup"):
        list(archive.members(io.BytesIO(b"Dear diary, " * 200)))


def test_a_link_is_refused() -> None:
    info = tarfile.TarInfo("files/link")
    info.type, info.linkname = tarfile.SYMTYPE, "elsewhere"
    with pytest.raises(BackupProblem, match="no file"):
        list(archive.members(io.BytesIO(info.tobuf() + archive.END)))
