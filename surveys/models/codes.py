"""The order of sites by their codes."""

from __future__ import annotations

from typing import Any

from django.db.models import F, Func, TextField, Value

# As many as a code has room for.
MOST_DIGITS = 20


def by_code(to_site: str = "") -> tuple[Any, ...]:
    """What lists of sites are ordered by; `to_site` leads there, as in "site__".

    Numbers in a code count as numbers, so that QH2 comes before QH10. Codes that differ in leading zeros alone
    come in one order always.
    """
    code = F(f"{to_site}code")
    padded = _replaced(code, r"\d+", "0" * MOST_DIGITS + r"\&")
    return _replaced(padded, rf"\d*(\d{{{MOST_DIGITS}}})", r"\1"), code


def _replaced(text: Any, pattern: str, by: str) -> Func:
    arguments = (text, Value(pattern), Value(by), Value("g"))
    return Func(*arguments, function="regexp_replace", output_field=TextField())
