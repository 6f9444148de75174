"""Files and functions stay small enough to be read at one go."""

import statistics

from tests.house.source import functions, python_sources

LONGEST_FILE = 400
LONGEST_FUNCTION = 40


def too_long_files(sources: list[tuple[str, str]]) -> list[str]:
    return [name for name, text in sources if text.count("\n") > LONGEST_FILE]


def too_long_functions(sources: list[tuple[str, str]]) -> list[str]:
    return [
        f"{name}: {function}, {lines} lines"
        for name, text in sources
        for function, lines in functions(text)
        if lines > LONGEST_FUNCTION
    ]


def test_no_python_file_is_longer_than_400_lines() -> None:
    assert too_long_files(python_sources()) == []


def test_no_function_is_longer_than_40_lines() -> None:
    assert too_long_functions(python_sources()) == []


def test_most_functions_of_the_product_are_short() -> None:
    product = [text for name, text in python_sources() if not name.startswith("tests/")]
    lengths = [lines for text in product for _, lines in functions(text)]
    assert statistics.median(lengths) <= 8
    assert statistics.quantiles(lengths, n=10)[-1] <= 25


def test_what_is_too_long_is_found() -> None:
    long_function = "def slow() -> None:\n" + "    pass\n" * 41
    assert too_long_functions([("a.py", long_function)]) == ["a.py: slow, 42 lines"]
    assert too_long_files([("a.py", "\n" * 401), ("b.py", "\n" * 400)]) == ["a.py"]
