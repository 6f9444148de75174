"""Bytes as spreadsheet programs write them: encodings, separators, and files made to overwhelm."""

from __future__ import annotations

import io
import struct
import tracemalloc
import zipfile
from collections.abc import Callable

import pytest

from surveys.importing import raw as raw_module
from surveys.importing.decoding import Undecodable, decode, separated
from surveys.importing.raw import RawSheet, read_raw
from surveys.importing.reading import UnusableFile
from tests.surveys.importing.test_reading import workbook

TEXT = "site,date,taxon,count,notes\nAB1,2024-05-03,Baetidae,12,Bäche – “grün”\n"
MB = 1024 * 1024


def read(content: bytes, name: str = "visits.csv") -> RawSheet:
    return read_raw(io.BytesIO(content), name)


@pytest.mark.parametrize(
    ("codec", "encoding"),
    [
        ("utf-8", "utf-8"),
        ("utf-8-sig", "utf-8"),
        ("utf-16", "utf-16"),
        ("utf-16-le", "utf-16"),
        ("utf-16-be", "utf-16"),
        ("cp1252", "windows-1252"),
    ],
)
def test_each_encoding_is_recognised_and_its_letters_are_kept(codec: str, encoding: str) -> None:
    sheet = read(TEXT.encode(codec))
    assert sheet.read_as.encoding == encoding
    assert sheet.header[0] == "site"
    assert sheet.rows[0][4] == "Bäche – “grün”"


@pytest.mark.parametrize("content", [b"\x00\x01\x02\x03", b"a,b\n\x81", b"PK\x03\x04\x14\x00", b"\xff\xfea"])
def test_what_is_no_text_is_refused(content: bytes) -> None:
    with pytest.raises(Undecodable, match="not text"):
        decode(content)


@pytest.mark.parametrize(
    ("text", "separator", "rest"),
    [
        ("a;b;c\n1,5;2;3", ";", "a;b;c\n1,5;2;3"),
        ("a\tb\n", "\t", "a\tb\n"),
        ('"one, two, three";b\n', ";", '"one, two, three";b\n'),
        ("sep=;\r\na,x;b\n", ";", "a,x;b\n"),
        ("alone\n", ",", "alone\n"),
    ],
)
def test_the_separator_is_told_by_the_header(text: str, separator: str, rest: str) -> None:
    assert separated(text) == (rest, separator)


def bomb(size: int, *, says: int | None = None) -> bytes:
    """A real workbook whose sheet is one enormous run of empty rows; `says` is the size it claims to have."""
    out = io.BytesIO()
    plain = zipfile.ZipFile(io.BytesIO(workbook(["site", "date"], ["AB1", "2024-05-03"])))
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for each in plain.infolist():
            if each.filename != "xl/worksheets/sheet1.xml":
                packed.writestr(each.filename, plain.read(each.filename))
        with packed.open("xl/worksheets/sheet1.xml", "w", force_zip64=False) as part:
            part.write(
                b"<worksheet xmlns='http://schemas.openxmlformats.org/spreadsheetml/2006/main'><sheetData>"
            )
            for _each in range(size // MB):
                part.write(b"<row></row>".ljust(64) * (MB // 64))
            part.write(b"</sheetData></worksheet>")
    content = out.getvalue()
    real = zipfile.ZipFile(io.BytesIO(content)).getinfo("xl/worksheets/sheet1.xml").file_size
    return content if says is None else content.replace(struct.pack("<I", real), struct.pack("<I", says))


def peak_of(act: Callable[[], object]) -> int:
    tracemalloc.start()
    try:
        act()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_a_bomb_is_refused_before_it_is_unpacked() -> None:
    content = bomb(101 * MB)
    assert len(content) < MB

    def refuse() -> None:
        with pytest.raises(UnusableFile, match="unpacks to more than 100 MB"):
            read(content, "visits.xlsx")

    assert peak_of(refuse) < 5 * MB


def test_a_bomb_that_lies_about_its_size_is_unpacked_no_further_than_it_says() -> None:
    content = bomb(120 * MB, says=2_000)

    def refuse() -> None:
        with pytest.raises(UnusableFile, match=r"cannot be read as XLSX|no rows|first row is empty"):
            read(content, "visits.xlsx")

    assert peak_of(refuse) < 20 * MB


def test_it_keeps_to_a_number_of_cells_and_to_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    content = TEXT.encode()
    monkeypatch.setattr(raw_module, "MOST_CELLS", 10)
    assert read(content).rows
    monkeypatch.setattr(raw_module, "MOST_CELLS", 9)
    with pytest.raises(UnusableFile, match="too large"):
        read(content)
    monkeypatch.setattr(raw_module, "MOST_CELLS", 10)
    monkeypatch.setattr(raw_module, "SECONDS_TO_READ", -1)
    with pytest.raises(UnusableFile, match="too large"):
        read(content)


def test_empty_lines_at_the_end_are_no_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    content = TEXT.encode() + b",,,,\n" * 5
    assert len(read_raw(io.BytesIO(content), "x.csv", 1).rows) == 1
    with pytest.raises(UnusableFile, match="more than 1 rows"):
        read_raw(io.BytesIO(TEXT.encode() + TEXT.encode()), "x.csv", 1)
