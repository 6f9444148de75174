"""The lines of a recording list as a group types them: one name a line, headings that end with a colon."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _

from scoring.taxa import Taxon, find_taxon, roll_up
from surveys.models import ListTaxon
from surveys.submission.serializers import unknown_taxon

LONGEST_NAME, LONGEST_SECTION = 120, 80
MOST_LINES = 300


class InvalidLines(ValueError):
    """Some lines cannot be taken; `problems` say which and why."""

    def __init__(self, problems: Iterable[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(self.problems))


@dataclass(frozen=True)
class ListLine:
    """A line of a list: the name that scoring knows, what the volunteer reads beside it, and its heading."""

    taxon: str
    label: str
    section: str


def read_lines(text: str) -> list[ListLine]:
    """Read the typed lines; raises InvalidLines with a sentence for each that cannot be taken."""
    lines: list[ListLine] = []
    problems: list[str] = []
    section, first_at = "", dict[str, int]()
    for number, typed in _filled(text):
        if typed.endswith(":"):
            section = typed[:-1].strip()
            continue
        taxon = roll_up(typed)
        problem = _problem(typed, section, taxon, first_at)
        if taxon is None or problem:
            problems.append(_("Line %(number)d: %(problem)s") % {"number": number, "problem": problem})
            continue
        first_at[taxon.name] = number
        lines.append(ListLine(taxon.name, _label(typed, taxon), section))
    if len(lines) > MOST_LINES:
        problems.append(_("A list holds at most %(most)d names.") % {"most": MOST_LINES})
    if not lines and not problems:
        problems.append(_("Write at least one name."))
    if problems:
        raise InvalidLines(problems)
    return lines


def _filled(text: str) -> Iterator[tuple[int, str]]:
    """The lines that hold something, numbered from 1 as an editor shows them."""
    for number, line in enumerate(text.splitlines(), start=1):
        typed = " ".join(line.split())
        if typed:
            yield number, typed


def _problem(typed: str, section: str, taxon: Taxon | None, first_at: dict[str, int]) -> str:
    if taxon is None:
        return unknown_taxon(typed)
    if len(typed) > LONGEST_NAME or len(section) > LONGEST_SECTION:
        return _("This is too long.")
    if taxon.name in first_at:
        # A row of the form stands for one name: two genera of a family would be counted into one.
        return _("“%(name)s” is counted as %(taxon)s, which stands in line %(first)d already.") % {
            "name": typed,
            "taxon": taxon.name,
            "first": first_at[taxon.name],
        }
    return ""


def _label(typed: str, taxon: Taxon) -> str:
    """What stands beside the name: the English name, or what the group wrote where that says more."""
    if typed.casefold() == taxon.name.casefold():
        return taxon.english.capitalize()
    return typed[:1].upper() + typed[1:]


def text_of(taxa: Iterable[ListTaxon]) -> str:
    """A list as its group would type it, to be changed; `read_lines` reads it back to the same list."""
    lines: list[str] = []
    section = ""
    for each in taxa:
        if each.section != section:
            section = each.section
            lines += ([""] if lines else []) + [f"{section}:"]
        lines.append(_typed(each))
    return "\n".join(lines)


def _typed(each: ListTaxon) -> str:
    # A label that leads to the name again is what was typed; any other was made from the name.
    known = find_taxon(each.taxon)
    is_own = bool(each.label) and not (known and each.label.casefold() == known.english.casefold())
    found = roll_up(each.label) if is_own else None
    return each.label if found and found.name == each.taxon else each.taxon
