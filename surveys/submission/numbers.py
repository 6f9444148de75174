"""Numbers as volunteers type them: "7.4", "7,4", "−1", "<0.05"."""

from __future__ import annotations

import re
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

Words = str | Promise

# Eight digits are what the database keeps before the point; no exponents, no signs of infinity.
_PLAIN = re.compile(r"-?[0-9]{1,8}(\.[0-9]{1,20})?")
# "1,200" is twelve hundred to one reader and 1.2 to another; "0,125" can only be a decimal.
_AMBIGUOUS = re.compile(r"-?[1-9][0-9]{0,2},[0-9]{3}")

AS_A_READING = _("Write this as a number, such as 7.4.")


def decimal_of(text: str, *, otherwise: Words = AS_A_READING) -> Decimal:
    """Read a number with a decimal point or comma; raises ValueError with a sentence for whoever typed it.

    `otherwise` is what is said of something that is no number, with an example of its kind.
    """
    # Copied tables carry the true minus sign, which no parser of numbers knows.
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    if _AMBIGUOUS.fullmatch(plain):
        raise ValueError(gettext("“%(text)s” can be read in two ways. Leave out the comma.") % {"text": plain})
    plain = plain.replace(",", ".")
    if not _PLAIN.fullmatch(plain):
        raise ValueError(str(otherwise))
    return Decimal(plain)


def limit_or_value(text: str) -> tuple[Decimal, bool]:
    """Read a measurement: the value, and whether it is only a limit ("<0.05"); raises ValueError."""
    typed = text.strip()
    if typed.startswith("<"):
        return decimal_of(typed[1:]), True
    return decimal_of(typed), False


def plain_text(value: Decimal) -> str:
    """Write a decimal without spare zeros or an exponent: Decimal("30.0") -> "30"."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
