"""Scoring what a reader types on a method's page: lines of `taxon,count`."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from scoring.indices import METHODS, Score, score_sample
from scoring.samples import ABUNDANCE_RANGES, Amount, Count, read_sample
from scoring.taxa import roll_up, suggest

# The text travels in the address of the page, and servers cut long addresses off.
LONGEST_TEXT = 1500
MOST_LINES = 60
MOST_ANIMALS = 1_000_000
# Comparing a name with all others is the one slow step.
MOST_SUGGESTED = 12

FAMILIES = (
    "Heptageniidae,14\nLeuctridae,6\nBaetis rhodani,40\nHydropsychida,12\nGammaridae,10-99\nSimuliidae,25\n"
    "Chironomidae,100-999\nworms,8\nAsellidae,0"
)
GROUPS = (
    "stonefly nymph,4\nmayfly nymph,35\ncaddis larva,10-99\nLeeches,2\nnon-biting midge larva,60\n"
    "worms,8\nwater snale,3"
)
RANGE = re.compile(r"(\d+)\s*(?:-|–)\s*(\d+)")


@dataclass(frozen=True)
class ReadName:
    """A recorded name: the number taken, what it was taken for, and why it did not count ("" if it did)."""

    name: str
    number: str
    taken_for: str
    why_left_out: str
    suggestions: Sequence[str]


@dataclass(frozen=True)
class Example:
    """The score of what was typed, with each name's part in it."""

    score: Score
    names: Sequence[ReadName]
    absent: Sequence[str]

    @property
    def figure(self) -> str:
        """The score with the decimals of its method, empty without one."""
        return "" if self.score.value is None else self._write(self.score.value)

    @property
    def span(self) -> str:
        """Lowest and highest value that fit the record, empty where there is only one."""
        if self.score.low is None or self.score.high is None:
            return ""
        return _("%(low)s to %(high)s") % {
            "low": self._write(self.score.low),
            "high": self._write(self.score.high),
        }

    @property
    def left_out(self) -> Sequence[ReadName]:
        return [name for name in self.names if name.why_left_out]

    @property
    def parts(self) -> Sequence[tuple[str, str]]:
        """What each scoring taxon gave, as it is added up."""
        return [(taxon, f"{points:.3f}".rstrip("0").rstrip(".")) for taxon, points in self.score.parts]

    def _write(self, value: float) -> str:
        return f"{value:.{METHODS[self.score.index].decimals}f}"


def first_lines(key: str) -> str:
    """The lines that the form of a method holds at first."""
    return GROUPS if METHODS[key].level == "group" else FAMILIES


def read_lines(text: str) -> tuple[list[Count], list[str]]:
    """Return the counts of the lines, and what is wrong with the others, in sentences that name the line."""
    lines = [(number, line.strip()) for number, line in enumerate(text.splitlines(), 1) if line.strip()]
    if len(lines) > MOST_LINES:
        return [], [_("At most %(most)s lines, please.") % {"most": MOST_LINES}]
    read = [(number, *_read_line(line)) for number, line in lines]
    problems = [
        _("Line %(number)s: %(problem)s") % {"number": number, "problem": problem}
        for number, _count, problem in read
        if problem
    ]
    return [count for _number, count, _problem in read if count], problems


def _read_line(line: str) -> tuple[Count | None, str]:
    taxon, _comma, number = (part.strip() for part in line.partition(","))
    if not taxon:
        return None, _("the name is missing before the comma.")
    limits = _read_number(number.replace(",", ""))
    if limits is None:
        return None, _("“%(number)s” is no count. Write 12, a range such as 10-99 or 1000+, or nothing.") % {
            "number": number
        }
    count, low, high = limits
    try:
        return Count(taxon, count=count, low=low, high=high), ""
    except ValueError:
        return None, _("the range must start at 1 or more and end above its start.")


def _read_number(text: str) -> tuple[int | None, int | None, int | None] | None:
    """Count, start and end of range, None where not given; None alone for what is no number."""
    if not text:
        return None, None, None
    # isdigit alone would let through digits of other scripts and superscripts.
    if text.isascii() and text.isdigit():
        return (int(text), None, None) if int(text) <= MOST_ANIMALS else None
    if text.endswith("+") and text[:-1].isascii() and text[:-1].isdigit():
        return None, int(text[:-1]), None
    found = RANGE.fullmatch(text)
    return (None, int(found[1]), int(found[2])) if found and text.isprintable() else None


def score_example(key: str, counts: Iterable[Count]) -> Example:
    """Score the counts by one method and tell what became of each name."""
    lines = list(counts)
    score = score_sample(lines)[key]
    sample = read_sample(lines)
    unknown = [name for name in sample if roll_up(name) is None][:MOST_SUGGESTED]
    names = [
        _read_name(name, amount, score, suggest(name) if name in unknown else [])
        for name, amount in sample.items()
    ]
    return Example(score, names, sorted({line.taxon for line in lines if not line.is_present}))


def _read_name(name: str, amount: Amount, score: Score, suggestions: Sequence[str]) -> ReadName:
    taxon = roll_up(name)
    return ReadName(
        name=name,
        number=_number_words(amount),
        taken_for=f"{taxon.name} ({taxon.rank})" if taxon else "",
        why_left_out=_why_left_out(name, score, known=taxon is not None),
        suggestions=suggestions,
    )


def _number_words(amount: Amount) -> str:
    if amount.number is None:
        return _("not counted")
    taken = f"{amount.number:,.0f}"
    if amount.is_exact:
        return taken
    end = f"–{amount.most:,.0f}" if math.isfinite(amount.most) else "+"
    return _("%(range)s (taken as %(number)s)") % {"range": f"{amount.fewest:,}{end}", "number": taken}


def _why_left_out(name: str, score: Score, *, known: bool) -> str:
    if name not in score.left_out:
        return ""
    if not known:
        return _("No table knows this name, so it is not scored; nothing is guessed.")
    if score.why_none and not score.used:
        return _("The score is not defined here.")
    return _("Known, but this method has no value for it.")


def ranges_in_words() -> str:
    """The abundance ranges as they are typed."""
    return ", ".join(f"{low}-{high}" if high else f"{low}+" for low, high in ABUNDANCE_RANGES)
