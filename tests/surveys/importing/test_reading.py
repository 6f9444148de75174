"""Opening spreadsheets, the broken and the hostile ones too."""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime, time
from typing import Any

import pytest
from django.conf import LazySettings
from openpyxl import Workbook

from surveys.importing import reading
from surveys.importing.columns import COLUMN_BY_NAME, COLUMNS, columns_table, header_name, spot_of, template_csv
from surveys.importing.reading import Sheet, UnusableFile, cell_text, read_sheet

HEADER = "site,date,taxon,count"
LINE = "AB1,2024-05-03,Baetidae,12"


def read_csv(*lines: str, name: str = "visits.csv", encoding: str = "utf-8") -> Sheet:
    return read_sheet(io.BytesIO("\n".join(lines).encode(encoding)), name)


def workbook(*lines: list[Any]) -> bytes:
    book = Workbook()
    assert book.active is not None
    for line in lines:
        book.active.append(line)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def read_xlsx(*lines: list[Any]) -> Sheet:
    return read_sheet(io.BytesIO(workbook(*lines)), "visits.xlsx")


def refusal(content: bytes, name: str) -> str:
    with pytest.raises(UnusableFile) as caught:
        read_sheet(io.BytesIO(content), name)
    return str(caught.value)


def test_it_reads_csv_rows_with_the_numbers_a_spreadsheet_shows() -> None:
    sheet = read_csv(HEADER, LINE, "", "AB1,2024-05-03,Gammaridae,3")
    assert sheet.header == ("site", "date", "taxon", "count")
    assert [row.number for row in sheet.rows] == [2, 4]
    assert sheet.rows[1].cells["taxon"] == "Gammaridae"


def test_it_counts_a_cell_of_several_lines_as_one_row() -> None:
    sheet = read_csv(HEADER + ",notes", LINE + ',"two\nlines"', LINE.replace("Baetidae", "Elmidae") + ",")
    assert [row.number for row in sheet.rows] == [2, 3]
    assert sheet.rows[0].cells["notes"] == "two\nlines"


def test_it_leaves_empty_cells_out_and_strips_the_others() -> None:
    sheet = read_csv(HEADER + ",notes", "AB1 , 2024-05-03,Baetidae, 12 ,   ")
    assert dict(sheet.rows[0].cells) == {
        "site": "AB1",
        "date": "2024-05-03",
        "taxon": "Baetidae",
        "count": "12",
    }


@pytest.mark.parametrize("mark", [";", "\t"])
def test_it_reads_other_separators(mark: str) -> None:
    sheet = read_csv(HEADER.replace(",", mark), LINE.replace(",", mark))
    assert sheet.rows[0].cells["count"] == "12"


def test_it_reads_csv_with_a_byte_order_mark() -> None:
    assert read_csv(HEADER, LINE, encoding="utf-8-sig").header[0] == "site"


def test_it_reads_headers_in_any_case_and_with_spaces() -> None:
    sheet = read_csv("Site,DATE,Taxon ,Count, Water level", LINE + ",low")
    assert sheet.header[-1] == "water_level"
    assert sheet.rows[0].cells["water_level"] == "low"


def test_it_reads_xlsx_cells_as_somebody_would_type_them() -> None:
    sheet = read_xlsx(
        ["site", "date", "taxon", "count", "start", "ph"],
        ["AB1", date(2024, 5, 3), "Baetidae", 12, time(10, 5), 7.9],
        ["AB1", datetime(2024, 5, 4), "Baetidae", 3.0, None, 8],
    )
    assert dict(sheet.rows[0].cells) == {
        "site": "AB1",
        "date": "2024-05-03",
        "taxon": "Baetidae",
        "count": "12",
        "start": "10:05",
        "ph": "7.9",
    }
    assert sheet.rows[1].cells["date"] == "2024-05-04"
    assert sheet.rows[1].cells["count"] == "3"


def test_it_never_calculates_a_formula() -> None:
    sheet = read_xlsx(["site", "date", "taxon", "count"], ["AB1", "2024-05-03", "Baetidae", "=6*2"])
    assert "count" not in sheet.rows[0].cells


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        ("  x ", "x"),
        (12, "12"),
        (12.0, "12"),
        (0.05, "0.05"),
        (datetime(2024, 5, 3, 10, 30), "2024-05-03 10:30"),
        (True, "True"),
    ],
)
def test_it_writes_a_cell_as_text(value: Any, text: str) -> None:
    assert cell_text(value) == text


def test_it_refuses_what_is_neither_csv_nor_xlsx() -> None:
    assert "“ods”" in refusal(b"x", "visits.ods")
    assert "“visits”" in refusal(b"x", "visits")


def test_it_refuses_a_file_that_only_claims_to_be_xlsx() -> None:
    assert "XLSX" in refusal(b"site,date,taxon,count\n", "visits.xlsx")


def test_it_refuses_a_zip_that_is_no_workbook() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("hello.txt", "hello")
    assert "Save it anew" in refusal(out.getvalue(), "visits.xlsx")


def test_it_refuses_what_is_no_text() -> None:
    assert "not text" in refusal(HEADER.encode() + b"\n\0", "visits.csv")
    # Windows-1252 has no letter for this byte.
    assert "not text" in refusal(HEADER.encode() + b"\n\x81", "visits.csv")


def test_it_refuses_a_file_above_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    content = f"{HEADER}\n{LINE}".encode()
    monkeypatch.setattr(reading, "MOST_BYTES", len(content))
    assert read_sheet(io.BytesIO(content), "visits.csv").rows
    monkeypatch.setattr(reading, "MOST_BYTES", len(content) - 1)
    assert "20 MB" in refusal(content, "visits.csv")


@pytest.mark.parametrize("name", ["visits.csv", "visits.xlsx"])
def test_it_refuses_more_rows_than_the_limit(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    lines = [HEADER.split(","), LINE.split(","), LINE.split(",")]
    content = workbook(*lines) if name.endswith("xlsx") else "\n".join(map(",".join, lines)).encode()
    monkeypatch.setattr(reading, "MOST_ROWS", 2)
    assert len(read_sheet(io.BytesIO(content), name).rows) == 2
    monkeypatch.setattr(reading, "MOST_ROWS", 1)
    assert "100,000 rows" in refusal(content, name)


def test_it_refuses_a_small_file_that_unpacks_to_a_huge_one() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed, packed.open("xl/big.xml", "w") as part:
        for _each in range(301):
            part.write(b"0" * 1024 * 1024)
    assert len(out.getvalue()) < 1024 * 1024
    assert "unpacks" in refusal(out.getvalue(), "visits.xlsx")


def test_it_refuses_a_sheet_without_the_needed_columns() -> None:
    assert "missing: taxon, count" in refusal(b"site,date\nAB1,2024-05-03", "visits.csv")
    assert "missing" in refusal(b"", "visits.csv")
    assert "missing" in refusal(workbook(), "visits.xlsx")


def test_it_refuses_a_header_that_names_a_column_twice() -> None:
    assert "count" in refusal(b"site,date,taxon,count,Count\nAB1,2024-05-03,Baetidae,1,2", "visits.csv")


def test_it_refuses_more_columns_than_anybody_fills() -> None:
    header = ",".join([HEADER, *(f"c{n}" for n in range(200))])
    assert "200 columns" in refusal(header.encode(), "visits.csv")


def test_it_refuses_a_header_without_rows() -> None:
    assert "no rows" in refusal(f"{HEADER}\n,,,\n".encode(), "visits.csv")


def test_it_names_the_row_that_has_more_cells_than_the_header() -> None:
    assert "Row 3" in refusal(f"{HEADER}\n{LINE}\n{LINE},loose".encode(), "visits.csv")


def test_it_names_the_row_that_is_no_csv() -> None:
    long = "x" * 200_000
    assert "Row 2" in refusal(f"{HEADER}\nAB1,2024-05-03,{long},1".encode(), "visits.csv")


def test_it_offers_a_template_that_it_can_read_itself() -> None:
    sheet = read_sheet(io.BytesIO(template_csv().encode()), "template.csv")
    assert set(sheet.header) <= set(COLUMN_BY_NAME)
    assert [row.cells["count"] for row in sheet.rows] == ["12", "10-99"]


def test_it_gives_each_column_a_meaning_and_an_example() -> None:
    for column in COLUMNS:
        assert str(column.meaning).endswith(".") or column.name == "ph", column.name
        assert column.example, column.name
        assert not column.words or column.example in column.words, column.name


def test_it_knows_the_spot_columns_by_number() -> None:
    assert spot_of("spot1_kicks") == (1, "kicks")
    assert spot_of("spot12_flow") == (12, "flow_type")
    assert "spot12_flow" in COLUMN_BY_NAME
    assert "spot13_flow" not in COLUMN_BY_NAME
    assert spot_of("notes") is None


def test_it_reads_header_names_loosely() -> None:
    assert header_name("  Water  Level ") == "water_level"


def test_it_describes_the_same_columns_in_its_paper(settings: LazySettings) -> None:
    paper = (settings.BASE_DIR / "surveys" / "importing" / "COLUMNS.md").read_text(encoding="utf-8")
    assert columns_table() in paper, "Paste what columns_table() returns into COLUMNS.md."
    assert len(columns_table().splitlines()) == len(COLUMNS) + 2
