"""The command as a user runs it: its own process, its exit status, its two streams."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ROWS = "".join(f"{2023 + at // 12}-{1 + at % 12:02}-05,{40 + 7 * at % 31}\n" for at in range(24))
WISH = ("--index", "bmwp", "--false-alarms-per-year", "0.5", "--visits-per-year", "12")


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "manage.py", "advise_trigger", *arguments]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60, check=False)


@pytest.fixture
def scores(tmp_path: Path) -> Path:
    path = tmp_path / "scores.csv"
    path.write_text("date,score\n" + ROWS, encoding="utf-8")
    return path


def test_it_prints_json_and_ends_well(scores: Path) -> None:
    done = run(str(scores), *WISH, "--format", "json")
    assert (done.returncode, done.stderr) == (0, "")
    told = json.loads(done.stdout)
    # 24 visits: the lowest fires by chance at one visit in 25, 0.48 times a year.
    assert told["suggested_level"] == 40
    assert told["suggestion"]["level"]["false_alarms_per_year"]["value"] == pytest.approx(12 / 25)


def test_it_prints_the_same_every_time(scores: Path) -> None:
    first, second = (run(str(scores), *WISH, "--format", "json").stdout for _ in range(2))
    assert first == second
    assert run(str(scores), *WISH, "--format", "json", "--seed", "7").stdout != first


def test_it_prints_text_unless_told_otherwise(scores: Path) -> None:
    done = run(
        str(scores), *WISH, "--level", "45", "--fall", "10", "--fall", "20", "--month", "5", "--month", "6"
    )
    assert done.returncode == 0
    assert done.stdout.startswith("BMWP: 4 visits")
    assert "Caution: Too few visits to suggest a level: there are 4" in done.stdout
    assert "  45: " in done.stdout
    assert "fall by 20: " in done.stdout


def one_line(done: subprocess.CompletedProcess[str]) -> str:
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    return done.stderr


def test_it_ends_with_status_two_and_names_the_row_of_bad_input(scores: Path) -> None:
    scores.write_text("date,score\n2026-05-03,61\n2026-06-03,sixty\n", encoding="utf-8")
    told = one_line(run(str(scores), *WISH))
    assert f"{scores}: row 3 has the score 'sixty'" in told


def test_it_ends_with_status_two_for_a_missing_file(tmp_path: Path) -> None:
    assert "cannot be read" in one_line(run(str(tmp_path / "no\nsuch.csv"), *WISH))


def test_it_ends_with_status_two_for_an_index_that_is_worse_when_higher(scores: Path) -> None:
    told = one_line(run(str(scores), "--index", "fbi", "--visits-per-year", "12"))
    assert f"{scores}: Family biotic index: higher is worse" in told


@pytest.mark.parametrize(
    "wish", [("--index", "quux", "--visits-per-year", "12"), ("--index", "bmwp", "--visits-per-year", "often")]
)
def test_it_ends_with_status_two_for_a_question_it_cannot_read(scores: Path, wish: tuple[str, ...]) -> None:
    done = run(str(scores), *wish)
    assert (done.returncode, done.stdout) == (2, "")
    assert wish[1] in done.stderr or wish[3] in done.stderr
