"""The table of counts of the visit form: one row per taxon of the recording list, then the others found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.utils.functional import Promise
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from scoring.taxa import roll_up, suggest
from surveys.forms.posted import PRESENT
from surveys.models import ListTaxon
from surveys.scores.provisional import provisional_for

RANGES: dict[str, str | Promise] = {
    "1-9": "1–9",
    "10-99": "10–99",
    "100-999": "100–999",
    "1000+": "1,000+",
    PRESENT: gettext_lazy("seen, not counted"),
}
SPARE_ROWS = 3
# The kind of path that speaks of a line of the whole tray, as "counts" is that of all others.
WHOLE_TRAY = "whole_tray"

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
    by_key: bool = False
    recorded_as: str = ""
    errors: tuple[str, ...] = ()
    findings: tuple[str, ...] = ()

    @property
    def is_filled(self) -> bool:
        """Whether anything was entered."""
        return bool(self.count or self.range or self.is_none or self.by_key)

    @property
    def suggestions(self) -> list[str]:
        """Known names close to one that is not known; whoever typed it chooses, nobody else."""
        return suggest(self.taxon) if self.errors and self.taxon and roll_up(self.taxon) is None else []

    @property
    def ranges(self) -> list[tuple[str, str | Promise, bool]]:
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
    """All rows for a recording list and the entries typed so far; `whole` are those of the whole tray.

    `errors` and `findings` map a taxon, as written, to the messages of its row; "whole_tray.Perlidae" is a
    line of the whole tray.
    """

    def __init__(
        self,
        taxa: Sequence[ListTaxon],
        entries: Iterable[Entry],
        errors: Messages,
        findings: Messages | None = None,
    ) -> None:
        entries = tuple(entries)
        whole = [entry for entry in entries if entry.get("whole_tray")]
        sorted_part = [entry for entry in entries if not entry.get("whole_tray")]
        listed, others = _sorted_out({taxon.taxon for taxon in taxa}, sorted_part)
        self._errors = errors
        self._findings = findings or {}
        self._listed = listed
        self.provisional = provisional_for(tuple(taxon.taxon for taxon in taxa))
        self.sections = tuple(self._sections(taxa))
        self.others, self.spare = self._named_rows("other", others, SPARE_ROWS)
        self.whole, self.whole_spare = self._named_rows("whole", whole, 1)

    def anchor_of(self, taxon: str) -> str:
        """The id of the row's first input, or of the whole table when no row has that taxon."""
        listed = [row for section in self.sections for row in section.rows if taxon]
        kind, _dot, name = taxon.partition(".")
        rows = self.whole if kind == WHOLE_TRAY else (*listed, *self.others)
        name = name if kind == WHOLE_TRAY else taxon
        found = [row for row in rows if name in (row.recorded_as or row.taxon, row.taxon)]
        if not found:
            return "counts"
        return f"{found[0].anchor}-{'count' if name else 'taxon'}"

    def label_of(self, taxon: str) -> str:
        """What the summary of mistakes calls the row."""
        kind, _dot, name = taxon.partition(".")
        if kind == WHOLE_TRAY:
            return _("Whole tray: %(name)s") % {"name": name or _("other taxa")}
        return taxon or _("Other taxa")

    def _sections(self, taxa: Sequence[ListTaxon]) -> Iterable[CountSection]:
        for place, (title, group) in enumerate(groupby(taxa, key=lambda taxon: taxon.section)):
            rows = tuple(self._listed_row(taxon) for taxon in group)
            yield CountSection(title or _("Taxa of the list"), rows, is_first=place == 0)

    def _listed_row(self, taxon: ListTaxon) -> CountRow:
        anchor = f"id_counts-{taxon.position}-{slugify(taxon.taxon)}"
        entry = self._listed.get(taxon.taxon, {})
        return self._row(f"counts-{taxon.taxon}", anchor, taxon.words, entry, taxon.taxon)

    def _named_rows(
        self, prefix: str, entries: Sequence[Entry], spare: int
    ) -> tuple[tuple[CountRow, ...], tuple[CountRow, ...]]:
        """Rows whose names are typed, then empty ones."""
        rows = [self._named_row(prefix, number, each) for number, each in enumerate(entries, start=1)]
        first = len(rows) + 1
        return tuple(rows), tuple(self._named_row(prefix, n, {}) for n in range(first, first + spare))

    def _named_row(self, prefix: str, number: int, entry: Entry) -> CountRow:
        taxon = str(entry.get("taxon", ""))
        return self._row(f"{prefix}-{number}", f"id_{prefix}-{number}", taxon, entry, taxon)

    def _row(self, name: str, anchor: str, label: str, entry: Entry, taxon: str) -> CountRow:
        count = str(entry.get("count", ""))
        written = str(entry.get("recorded_as") or taxon)
        key = f"{WHOLE_TRAY}.{written}" if entry.get("whole_tray") else written
        chosen = str(entry.get("range", "")) or (PRESENT if entry.get("present") else "")
        # A count of 0 and the tick at "looked for, none" say the same; the tick says it more plainly.
        is_none = bool(entry.get("none")) or (count == "0" and not chosen)
        return CountRow(
            name=name,
            anchor=anchor,
            taxon=taxon,
            label=label,
            count="" if count == "0" and is_none else count,
            range=chosen,
            is_none=is_none,
            by_key=bool(entry.get("by_key")),
            recorded_as=str(entry.get("recorded_as", "")),
            errors=tuple(self._errors.get(key, ())) if entry else (),
            findings=tuple(self._findings.get(key, ())) if entry else (),
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
