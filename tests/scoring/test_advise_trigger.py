"""The command as a user runs it, once good and once bad in a process of its own: exit status and streams."""

import json
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from tests.commands import in_own_process, in_this_process

Run = Callable[..., CompletedProcess[str]]
ROWS = "".join(f"{2023 + at // 12}-{1 + at % 12:02}-05,{40 + 7 * at % 31}\n" for at in range(24))
WISH = ("--index", "bmwp", "--false-alarms-per-year", "0.5", "--visits-per-year", "12")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    return lambda *words: in_this_process(capsys, "advise_trigger", *words)


@pytest.fixture
def scores(tmp_path: Path) -> Path:
    path = tmp_path / "scores.csv"
    path.write_text("date,score\n" + ROWS, encoding="utf-8")
    return path


def test_it_prints_json_and_ends_well(scores: Path) -> None:
    done = in_own_process("advise_trigger", str(scores), *WISH, "--format", "json")
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    # 24 visits: the lowest fires by chance at one visit in 25, 0.48 times a year.
    assert told["suggested_level"] == 40
    assert told["suggestion"]["level"]["false_alarms_per_year"]["value"] == pytest.approx(12 / 25)


def test_it_prints_the_same_every_time(run: Run, scores: Path) -> None:
    first = run(str(scores), *WISH, "--format", "json").stdout
    assert first == in_own_process("advise_trigger", str(scores), *WISH, "--format", "json").stdout
    assert run(str(scores), *WISH, "--format", "json", "--seed", "7").stdout != first


def test_it_prints_text_unless_told_otherwise(run: Run, scores: Path) -> None:
    done = run(
        str(scores), *WISH, "--level", "45", "--fall", "10", "--fall", "20", "--month", "5", "--month", "6"
    )
    assert done.returncode == 0
    assert done.stdout.startswith("BMWP: 4 visits")
    assert "Caution: Too few visits to suggest a level: there are 4" in done.stdout
    assert "  45: " in done.stdout
    assert "fall by 20: " in done.stdout


def one_line(done: CompletedProcess[str]) -> str:
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    return done.stderr


def test_it_ends_with_status_two_and_names_the_row_of_bad_input(scores: Path) -> None:
    scores.write_text("date,score\n2026-05-03,61\n2026-06-03,sixty\n", encoding="utf-8")
    told = one_line(in_own_process("advise_trigger", str(scores), *WISH))
    assert f"{scores}: row 3 has the score 'sixty'" in told


def test_it_ends_with_status_two_for_a_missing_file(run: Run, tmp_path: Path) -> None:
    assert "cannot be read" in one_line(run(str(tmp_path / "no\nsuch.csv"), *WISH))


def test_it_ends_with_status_two_for_an_index_that_is_worse_when_higher(run: Run, scores: Path) -> None:
    told = one_line(run(str(scores), "--index", "fbi", "--visits-per-year", "12"))
    assert f"{scores}: Family biotic index: higher is worse" in told


@pytest.mark.parametrize(
    "wish", [("--index", "quux", "--visits-per-year", "12"), ("--index", "bmwp", "--visits-per-year", "often")]
)
def test_it_ends_with_status_two_for_a_question_it_cannot_read(
    run: Run, scores: Path, wish: tuple[str, ...]
) -> None:
    done = run(str(scores), *wish)
    assert (done.returncode, done.stdout) == (2, "")
    assert wish[1] in done.stderr or wish[3] in done.stderr
