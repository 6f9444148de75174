"""The published tables behind a method as rows for a page, each row with its own status of verification."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from scoring.indices.bankside import weights
from scoring.indices.ept import EPT_ORDERS
from scoring.tables import Row, read_table
from surveys.texts.told import told

FROM_MEMORY = "from memory"
# Columns whose cells are sentences.
IN_WORDS = {"status", "note", "degree", "class", "band", "label"}
# Column of the file, heading on the page, whether it holds figures.
Columns = Sequence[tuple[str, Promise, bool]]

_STATUS: Columns = (("status", _("How far verified"), False), ("note", _("Note"), False))
_INCLUDES: Columns = (("includes", _("Counted with it"), False),)


@dataclass(frozen=True)
class Heading:
    """A column of a table; `numeric` columns are set flush right."""

    label: str
    numeric: bool


@dataclass(frozen=True)
class ShownTable:
    """One table: its cells as text, how many rows have which status, and the sources that the rows name."""

    title: str
    headings: Sequence[Heading]
    rows: Sequence[Sequence[str]]
    statuses: Sequence[tuple[str, int]]
    sources: Sequence[str]

    @property
    def from_memory(self) -> int:
        """Rows of which any part was written down from memory."""
        return sum(number for status, number in self.statuses if FROM_MEMORY in status)


@dataclass(frozen=True)
class _Table:
    name: str
    title: Promise
    columns: Columns
    rows: Callable[[], Iterable[Row]]


def tables_of(key: str) -> list[ShownTable]:
    """The tables that the method of this key stands on, its own first; a formula alone has none."""
    return [_shown(table) for table in _TABLES.get(key, ())]


def _shown(table: _Table) -> ShownTable:
    rows = list(table.rows())
    used = [column for column in table.columns if any(row.get(column[0]) for row in rows)]
    return ShownTable(
        title=str(table.title),
        headings=[Heading(str(label), numeric) for _name, label, numeric in used],
        rows=[[_cell(row, name) for name, _label, _numeric in used] for row in rows],
        statuses=Counter(row["status"] for row in rows).most_common(),
        sources=list(dict.fromkeys(row["source"] for row in rows)),
    )


def _cell(row: Row, name: str) -> str:
    text = row.get(name) or "–"
    return told(text) if name in IN_WORDS else text


def _plain(name: str, title: Promise, *columns: tuple[str, Promise, bool]) -> _Table:
    return _Table(name, title, (*columns, *_STATUS), lambda: read_table(name))


def _bankside_rows() -> list[Row]:
    return [row | {"weight": f"{weights()[row['taxon']]:.3f}"} for row in read_table("bankside")]


def _ept_rows() -> list[Row]:
    families = [row for row in read_table("taxa") if row["rank"] == "family" and row["order"] in EPT_ORDERS]
    return sorted(families, key=lambda row: (row["order"], row["name"]))


def _range_rows() -> list[Row]:
    return [row | {"range": _range(row)} for row in read_table("ranges")]


def _weight_rows() -> list[Row]:
    return [row | {"range": _range(row)} for row in read_table("epa_weights")]


def _band_rows() -> list[Row]:
    return [row | {"limit": _limit(row)} for row in read_table("epa_bands")]


def _range(row: Mapping[str, str]) -> str:
    low = int(row["low"])
    return f"{low:,}–{int(row['high']):,}" if row["high"] else f"{low:,}+"


def _limit(row: Mapping[str, str]) -> str:
    words = _now("%(lower)s and more") if row["lower_included"] == "yes" else _now("more than %(lower)s")
    return words % {"lower": row["lower"]}


_BMWP = _plain(
    "bmwp",
    _("Scores of the families"),
    ("taxon", _("Taxon"), False),
    ("score", _("Score"), True),
    ("order", _("Order or group"), False),
    *_INCLUDES,
    ("synonyms", _("Also called"), False),
)
_WHPT = _plain(
    "whpt",
    _("Values by the number of animals"),
    ("taxon", _("Taxon"), False),
    ("from_1", _("1–9"), True),
    ("from_10", _("10–99"), True),
    ("from_100", _("100–999"), True),
    ("from_1000", _("1,000+"), True),
    ("order", _("Order or group"), False),
    *_INCLUDES,
)
_FBI = _plain(
    "fbi",
    _("Tolerance values"),
    ("taxon", _("Taxon"), False),
    ("tolerance", _("Tolerance"), True),
    ("order", _("Order"), False),
    *_INCLUDES,
)
_FBI_CLASSES = _plain(
    "fbi_classes",
    _("Classes"),
    ("class", _("Class"), False),
    ("lower", _("From"), True),
    ("upper", _("To"), True),
    ("degree", _("Organic pollution"), False),
)
_EPA_KINDS = _plain(
    "epa_taxa",
    _("Kinds of animal"),
    ("item", _("Kind"), False),
    ("group", _("Sensitivity group"), False),
    ("counted_as", _("Names counted as it"), False),
)
_EPA_WEIGHTS = _Table(
    "epa_weights",
    _("Weights"),
    (
        ("group", _("Sensitivity group"), False),
        ("range", _("Animals"), True),
        ("weight", _("Weight"), True),
        *_STATUS,
    ),
    _weight_rows,
)
_EPA_BANDS = _Table(
    "epa_bands",
    _("Bands"),
    (("band", _("Band"), False), ("limit", _("Score"), True), *_STATUS),
    _band_rows,
)
_BANKSIDE = _Table(
    "bankside",
    _("Groups and weights"),
    (("label", _("Group"), False), ("side", _("Side"), False), ("weight", _("Weight"), True), *_STATUS),
    _bankside_rows,
)
_EPT = _Table(
    "taxa",
    _("Families that count"),
    (
        ("name", _("Family"), False),
        ("order", _("Order"), False),
        ("english", _("English names"), False),
        *_STATUS,
    ),
    _ept_rows,
)
_STATUS_LIMITS = _plain(
    "status_limits",
    _("Status classes, for an agency's expected values"),
    ("class", _("Status class"), False),
    ("mean_ratio", _("Mean: observed / expected, from"), True),
    ("taxa_ratio", _("Taxa: observed / expected, from"), True),
    ("colour", _("Colour in the Directive"), False),
)
_RANGES = _Table(
    "ranges",
    _("Numbers taken for ranges"),
    (("range", _("Range recorded"), False), ("stand_in", _("Number taken"), True), *_STATUS),
    _range_rows,
)
_TABLES: Mapping[str, Sequence[_Table]] = {
    **dict.fromkeys(("bmwp", "ntaxa", "aspt"), (_BMWP,)),
    "whpt": (_WHPT,),
    **dict.fromkeys(("whpt_ntaxa", "whpt_aspt"), (_WHPT, _STATUS_LIMITS)),
    "fbi": (_FBI, _FBI_CLASSES, _RANGES),
    "ept_families": (_EPT,),
    "ept_percent": (_EPT, _RANGES),
    **dict.fromkeys(("shannon", "simpson", "pielou"), (_RANGES,)),
    "epa_volunteer": (_EPA_KINDS, _EPA_WEIGHTS, _EPA_BANDS),
    "bankside": (_BANKSIDE, _BMWP, _RANGES),
}
