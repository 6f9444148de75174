"""Text that spreadsheet programs run as a formula: disarmed on its way out, armed again on its way in."""

from __future__ import annotations

import re

# The full-width twins are read as the plain signs by programs set to an East Asian language.
_STARTS_FORMULA = re.compile(r"[=+\-@\t\r\n＝＋－＠]")
_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?")
# With any apostrophes before it, so that one that somebody typed is not mistaken for ours.
_DISARMED = re.compile(r"'+[=+\-@\t\r\n＝＋－＠]")


def is_formula_like(text: str) -> bool:
    """Whether a spreadsheet program might run this text; a negative number is a number."""
    return bool(_STARTS_FORMULA.match(text)) and not _NUMBER.fullmatch(text)


def disarmed(text: str) -> str:
    """The text with an apostrophe before it where a program might run it: the sign for "this is text"."""
    return f"'{text}" if is_formula_like(text) or _DISARMED.match(text) else text


def armed_again(text: str) -> str:
    """What `disarmed` was given: the apostrophe is taken off when an export is loaded again."""
    return text[1:] if _DISARMED.match(text) else text
