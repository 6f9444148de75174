"""The table of counts of the visit form: one row per taxon of the recording list, then the others found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.utils.text import slugify
from django.utils.translation import gettext as _

from surveys.models import ListTaxon

RANGES = {"1-9": "1–9", "10-99": "10–99", "100-999": "100–999", "1000+": "1,000+"}
SPARE_ROWS = 3

Entry = Mapping[str, Any]
Messages = Mapping[str, Sequence[str]]


@dataclass(frozen=True)
class CountRow:
    """One line: the names of its inputs start with `name`, their ids with `anchor`."""

    name: str
    anchor: str
    taxon: str = ""
    label: str = ""
    count: str = ""
    range: str = ""
    is_none: bool = False
    recorded_as: str = ""
    errors: tuple[str, ...] = ()
    findings: tuple[str, ...] = ()

    @property
    def is_filled(self) -> bool:
        """Whether anything was entered."""
        return bool(self.count or self.range or self.is_none)

    @property
    def ranges(self) -> list[tuple[str, str, bool]]:
        """Value, words, and whether it is the one chosen."""
        return [(value, words, value == self.range) for value, words in RANGES.items()]


@dataclass(frozen=True)
class CountSection:
    """Rows that stand under one heading; it opens by itself when somebody has been at work in it."""

    title: str
    rows: tuple[CountRow, ...]
    is_first: bool = False

    @property
    def filled(self) -> int:
        """How many rows hold an entry."""
        return sum(row.is_filled for row in self.rows)

    @property
    def is_open(self) -> bool:
        """Whether the page shows it opened."""
        return self.is_first or any(row.is_filled or row.errors for row in self.rows)


class CountTable:
    """All rows for a recording list and the entries typed so far.

    `errors` and `findings` map a taxon, as written, to the messages of its row.
    """

    def __init__(
        self,
        taxa: Sequence[ListTaxon],
        entries: Iterable[Entry],
        errors: Messages,
        findings: Messages | None = None,
    ) -> None:
        listed, others = _sorted_out({taxon.taxon for taxon in taxa}, entries)
        self._errors = errors
        self._findings = findings or {}
        self._listed = listed
        self.sections = tuple(self._sections(taxa))
        self.others = tuple(self._other_row(number, entry) for number, entry in enumerate(others, start=1))
        first = len(self.others) + 1
        self.spare = tuple(self._other_row(number, {}) for number in range(first, first + SPARE_ROWS))

    def anchor_of(self, taxon: str) -> str:
        """The id of the row's first input, or of the whole table when no row has that taxon."""
        listed = [row for section in self.sections for row in section.rows if taxon]
        found = [row for row in (*listed, *self.others) if taxon in (row.recorded_as or row.taxon, row.taxon)]
        if not found:
            return "counts"
        return f"{found[0].anchor}-{'count' if taxon else 'taxon'}"

    def label_of(self, taxon: str) -> str:
        """What the summary of mistakes calls the row."""
        return taxon or _("Other taxa")

    def _sections(self, taxa: Sequence[ListTaxon]) -> Iterable[CountSection]:
        for place, (title, group) in enumerate(groupby(taxa, key=lambda taxon: taxon.section)):
            rows = tuple(self._listed_row(taxon) for taxon in group)
            yield CountSection(title or _("Taxa of the list"), rows, is_first=place == 0)

    def _listed_row(self, taxon: ListTaxon) -> CountRow:
        anchor = f"id_counts-{taxon.position}-{slugify(taxon.taxon)}"
        entry = self._listed.get(taxon.taxon, {})
        return self._row(f"counts-{taxon.taxon}", anchor, taxon.label, entry, taxon.taxon)

    def _other_row(self, number: int, entry: Entry) -> CountRow:
        taxon = str(entry.get("taxon", ""))
        return self._row(f"other-{number}", f"id_other-{number}", taxon, entry, taxon)

    def _row(self, name: str, anchor: str, label: str, entry: Entry, taxon: str) -> CountRow:
        count = str(entry.get("count", ""))
        written = str(entry.get("recorded_as") or taxon)
        # A count of 0 and the tick at "looked for, none" say the same; the tick says it more plainly.
        is_none = bool(entry.get("none")) or (count == "0" and not entry.get("range"))
        return CountRow(
            name=name,
            anchor=anchor,
            taxon=taxon,
            label=label,
            count="" if count == "0" and is_none else count,
            range=str(entry.get("range", "")),
            is_none=is_none,
            recorded_as=str(entry.get("recorded_as", "")),
            errors=tuple(self._errors.get(written, ())) if entry else (),
            findings=tuple(self._findings.get(written, ())) if entry else (),
        )


def _sorted_out(listed: set[str], entries: Iterable[Entry]) -> tuple[dict[str, Entry], list[Entry]]:
    """Entries that belong to a row of the list, and all others; a second entry of one taxon is another one."""
    rows: dict[str, Entry] = {}
    others: list[Entry] = []
    for entry in entries:
        taxon = str(entry.get("taxon", ""))
        if taxon in listed and taxon not in rows:
            rows[taxon] = entry
        else:
            others.append(entry)
    return rows, others
