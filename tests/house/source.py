"""The project's own files, as git knows them."""

import ast
import subprocess
from collections.abc import Iterator
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]


def own_files() -> list[Path]:
    """Every file that is tracked or about to be; what git ignores is not ours."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard"]
    named = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, check=True).stdout
    return [PROJECT / name for name in named.splitlines() if (PROJECT / name).is_file()]


def own_texts() -> Iterator[tuple[str, str]]:
    """The name and the content of each file that is text."""
    for path in own_files():
        try:
            yield str(path.relative_to(PROJECT)), path.read_text()
        except UnicodeDecodeError:
            continue


def python_sources() -> list[tuple[str, str]]:
    """The name and the content of each Python file but the migrations, which Django writes."""
    return [(name, text) for name, text in own_texts() if name.endswith(".py") and "/migrations/" not in name]


def templates() -> list[tuple[str, str]]:
    """The name and the content of each HTML template."""
    return [
        (name, text) for name, text in own_texts() if name.startswith("templates/") and name.endswith(".html")
    ]


def functions(text: str) -> Iterator[tuple[str, int]]:
    """The name of each function in a Python text and its length in lines, docstring and decorators left out."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[1] if ast.get_docstring(node) and len(node.body) > 1 else node.body[0]
            body = (node.end_lineno or first.lineno) - first.lineno + 1
            yield node.name, body + first_line_count(node)


def first_line_count(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """The lines of a function's head, from `def` to the line before its body."""
    return max(1, node.body[0].lineno - node.lineno)
