"""The command as a user runs it, once good and once bad in a process of its own: exit status and streams."""

import json
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from tests.commands import in_own_process, in_this_process

Run = Callable[..., CompletedProcess[str]]
COUNTS = "sample,taxon,count\nA,Perlidae,1\nA,Baetidae,3\n"


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    return lambda *words: in_this_process(capsys, "score_counts", *words)


@pytest.fixture
def counts(tmp_path: Path) -> Path:
    path = tmp_path / "counts.csv"
    path.write_text(COUNTS, encoding="utf-8")
    return path


def test_it_prints_json_and_ends_well(counts: Path) -> None:
    done = in_own_process("score_counts", str(counts), "--format", "json")
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["samples"]["A"]["bmwp"] == {"score": 14, "ntaxa": 2, "aspt": 7.0}


def test_it_prints_json_unless_told_otherwise(run: Run, counts: Path) -> None:
    assert json.loads(run(str(counts)).stdout)["unmatched"] == {"A": []}


def test_it_gives_the_status_class_where_the_expected_values_are_brought(run: Run, counts: Path) -> None:
    # Two taxa of the twenty that are expected.
    done = json.loads(run(str(counts), "--expected-whpt", "6.4", "20").stdout)["samples"]["A"]
    assert done["whpt_status"]["ntaxa_ratio"] == 0.1
    assert done["whpt_status"]["aspt_ratio"] == pytest.approx(done["whpt"]["aspt"] / 6.4, abs=1e-6)
    assert (done["whpt_status"]["ntaxa_class"], done["whpt_status"]["class"]) == ("Bad", "Bad")


def test_it_gives_no_status_class_otherwise(run: Run, counts: Path) -> None:
    assert "whpt_status" not in json.loads(run(str(counts)).stdout)["samples"]["A"]


def test_it_refuses_expected_values_that_are_none(run: Run, counts: Path) -> None:
    done = run(str(counts), "--expected-whpt", "0", "20")
    assert (done.returncode, done.stdout) == (2, "")
    assert "above 0" in done.stderr


def test_it_prints_csv(run: Run, counts: Path) -> None:
    lines = run(str(counts), "--format", "csv").stdout.splitlines()
    assert lines[0].startswith("sample,bmwp,ntaxa,aspt,")
    assert lines[1].startswith("A,14,2,7.0,")


def test_it_ends_with_status_two_and_one_line_for_bad_input(counts: Path) -> None:
    counts.write_text(COUNTS + "A,Caenidae,-4\n", encoding="utf-8")
    done = in_own_process("score_counts", str(counts))
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    assert str(counts) in done.stderr
    assert "row 4 has the count '-4'" in done.stderr


def test_it_ends_with_status_two_and_one_line_for_a_missing_file(run: Run, tmp_path: Path) -> None:
    done = run(str(tmp_path / "no\nsuch.csv"))
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    assert "cannot be read" in done.stderr
