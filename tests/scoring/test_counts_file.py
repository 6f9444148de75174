"""The file of counts: what is read, what is refused with its row, and what is written."""

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest

from scoring.counts_file import format_scores, read_counts
from scoring.csv_file import CsvFileError
from scoring.indices import METHODS
from scoring.samples import Count

HEADER = "sample,taxon,count\n"


@pytest.fixture
def write(tmp_path: Path) -> Any:
    def _write(text: str | bytes) -> Path:
        path = tmp_path / "counts.csv"
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return path

    return _write


def as_json(path: Path) -> Any:
    return json.loads(format_scores(read_counts(path), "json"))


def as_rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(format_scores(read_counts(path), "csv"))))


def test_it_reads_the_counts_of_each_sample(write: Any) -> None:
    samples = read_counts(write(HEADER + "A,Baetidae,3\nB,Caenidae,0\nA,Caenidae,2\n"))
    assert samples == {"A": [Count("Baetidae", 3), Count("Caenidae", 2)], "B": [Count("Caenidae", 0)]}
    assert list(samples) == ["A", "B"]


@pytest.mark.parametrize("lead", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_it_reads_utf8_with_or_without_mark_and_any_line_end(write: Any, lead: bytes, end: str) -> None:
    text = end.join(["sample,taxon,count", "Bäche 1,Cloëon,3", ""])
    assert read_counts(write(lead + text.encode())) == {"Bäche 1": [Count("Cloëon", 3)]}


def test_it_takes_spaces_capitals_quotes_and_blank_rows(write: Any) -> None:
    text = 'Sample, TAXON ,Count\n\nA , "Baetidae" ,3\n,,\n"B, lower",Caenidae, 4 \n'
    samples = read_counts(write(text.replace(', "Baetidae" ', ',"Baetidae"')))
    assert samples == {"A": [Count("Baetidae", 3)], "B, lower": [Count("Caenidae", 4)]}


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "row 1 must be the header sample,taxon,count"),
        ("site,taxon,count\nA,Baetidae,3\n", "row 1 must be the header"),
        ("sample,taxon,count,note\nA,Baetidae,3,x\n", "row 1 must be the header"),
        ("sample;taxon;count\nA;Baetidae;3\n", "row 1 must be the header"),
        (HEADER, "no rows below the header"),
        (HEADER + "\n,,\n", "no rows below the header"),
        (HEADER + "A,Baetidae,3\nA,Caenidae,-1\n", "row 3 has the count '-1'"),
        (HEADER + "A,Baetidae,2.5\n", "row 2 has the count '2.5'"),
        (HEADER + "A,Baetidae,many\n", "row 2 has the count 'many'"),
        (HEADER + "A,Baetidae,1_000\n", "row 2 has the count '1_000'"),
        (HEADER + "A,Baetidae,+3\n", "row 2 has the count '+3'"),
        (HEADER + "A,Baetidae,٣\n", "row 2 has the count"),
        (HEADER + "A,Baetidae,10-99\n", "row 2 has the count '10-99'"),
        (HEADER + "A,Baetidae,\n", "row 2 has no count"),
        (HEADER + "A,,3\n", "row 2 has no taxon"),
        (HEADER + " ,Baetidae,3\n", "row 2 has no sample"),
        (HEADER + "A,Baetidae\n", "row 2 has 2 columns, not 3"),
        (HEADER + "A,Baetidae,3,4\n", "row 2 has 4 columns, not 3"),
        (HEADER + "\nA,Baetidae,x\n", "row 3 has the count 'x'"),
        (HEADER + "A,Baetidae,1000000001\n", "row 2 has a count above 1,000,000,000"),
        (HEADER + f"A,Baetidae,{'9' * 5000}\n", "row 2 has a count above"),
        (HEADER + 'A,"Baetidae,3\n', "row 2 is not valid CSV"),
        (HEADER.encode() + b"A,Baetid\xe6,3\n", "row 2 is not UTF-8 text"),
        ("sample".encode("utf-16"), "row 1 is not UTF-8 text"),
    ],
)
def test_it_refuses_bad_input_with_file_and_row_in_one_line(
    write: Any, text: str | bytes, complaint: str
) -> None:
    path = write(text)
    with pytest.raises(CsvFileError) as refused:
        read_counts(path)
    assert str(refused.value).startswith(f"{path}: {complaint}")
    assert "\n" not in str(refused.value)


def test_it_takes_the_largest_count(write: Any) -> None:
    assert read_counts(write(HEADER + "A,Baetidae,1000000000\n")) == {"A": [Count("Baetidae", 10**9)]}


def test_it_says_that_a_file_is_missing_or_a_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(CsvFileError, match="cannot be read"):
            read_counts(path)


def test_it_writes_json_in_the_agreed_shape(write: Any) -> None:
    told = as_json(write(HEADER + "A,Perlidae,1\nA,Baetis rhodani,2\nA,Mystery,1\nB,Asellidae,4\n"))
    found = told["samples"]["A"]
    assert found["bmwp"] == {"score": 14, "ntaxa": 2, "aspt": 7.0}
    assert found["ept_families"] == 2
    assert found["shannon"] == 1.039721
    assert found["simpson"] == 0.625
    assert found["whpt"] == {"score": 16.2, "ntaxa": 2, "aspt": 8.1}
    assert found["fbi"] == {"score": 3.0, "class": "excellent"}
    assert found["epa_volunteer"] == {"score": 10.0, "rating": "poor"}
    assert (found["richness"], found["ept_percent"], found["pielou"]) == (3, 100.0, 0.946395)
    assert told["unmatched"] == {"A": ["Mystery"], "B": []}


def test_it_writes_whole_numbers_for_totals_of_whole_numbers(write: Any) -> None:
    text = format_scores(read_counts(write(HEADER + "A,Baetidae,3\n")), "json")
    assert '"score": 4,' in text
    assert '"ept_families": 1,' in text


def test_it_writes_null_for_what_is_undefined(write: Any) -> None:
    found = as_json(write(HEADER + "A,Baetidae,0\n"))["samples"]["A"]
    assert found["bmwp"] == {"score": 0, "ntaxa": 0, "aspt": None}
    assert found["fbi"] == {"score": None, "class": None}
    assert (found["shannon"], found["simpson"], found["pielou"]) == (None, None, None)
    assert found["ept_families"] == 0


def test_it_leaves_the_volunteer_rating_out_where_nothing_supports_it(write: Any) -> None:
    samples = as_json(write(HEADER + "A,Hydracarina,3\nB,leech,3\n"))["samples"]
    assert "epa_volunteer" not in samples["A"]
    assert samples["B"]["epa_volunteer"]["score"] == 1.2


def test_it_names_what_bmwp_does_not_score_and_what_other_tables_leave_out(write: Any) -> None:
    told = as_json(write(HEADER + "A,Veliidae,2\nA,Ostracoda,9\nA,Baetidae,1\nA,Oligochaeta,5\n"))
    assert told["unmatched"] == {"A": ["Ostracoda", "Veliidae"]}
    assert told["samples"]["A"]["left_out"] == {
        "whpt": ["Ostracoda"],
        "fbi": ["Oligochaeta", "Ostracoda", "Veliidae"],
    }


def test_it_writes_a_csv_row_for_each_sample(write: Any) -> None:
    rows = as_rows(write(HEADER + "A,Baetidae,3\nA,Mystery,1\nA,Zebra,1\nB,Baetidae,0\n"))
    assert [row["sample"] for row in rows] == ["A", "B"]
    assert rows[0].keys() >= METHODS.keys()
    assert (rows[0]["bmwp"], rows[0]["aspt"], rows[0]["unmatched"]) == ("4", "4.0", "Mystery; Zebra")
    assert (rows[0]["fbi_class"], rows[1]["aspt"], rows[1]["fbi_class"]) == ("very good", "", "")


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_it_keeps_a_spreadsheet_from_running_a_cell(write: Any, start: str) -> None:
    rows = as_rows(write(HEADER + f"{start}1+1,{start}Mystery,3\n"))
    assert rows[0]["sample"] == f"'{start}1+1"
    assert rows[0]["unmatched"] == f"'{start}Mystery"


def test_it_leaves_negative_figures_alone(write: Any) -> None:
    assert as_rows(write(HEADER + "A,Asellidae,2000\n"))[0]["whpt"] == "-1.6"
