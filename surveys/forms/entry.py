"""The whole visit form: fields, table of counts, and each mistake at the place it concerns."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from surveys.forms.counts import WHOLE_TRAY, CountTable
from surveys.forms.visit import Choices, VisitForm
from surveys.models import ListTaxon, Site
from surveys.submission import InvalidSubmission, Problem, Submission, parse_submission
from surveys.visits.positions import Landmark, places_for_page

# Parts of the form that a problem may speak of as a whole: the id to link to, and what the part is called.
SECTIONS = {
    "spots": ("effort", gettext_lazy("Effort really made")),
    "measurements": ("measurements", gettext_lazy("Measurements")),
    "counts": ("counts", gettext_lazy("What was in the tray")),
}
# Fields and parts that stand at the end of the page, in their order there.
BELOW_MEASUREMENTS = ("fraction_sorted", "counts", "notes")


class Remark(Protocol):
    """What a problem and a finding have in common: the path of a field, and words about it."""

    @property
    def field(self) -> str: ...
    @property
    def message(self) -> str: ...


@dataclass(frozen=True)
class Mistake:
    """One line of the error summary: the id it links to, where that is, and what is wrong."""

    target: str
    label: str
    message: str


@dataclass(frozen=True)
class VisitEntry:
    """All that the template of the visit form shows."""

    site: Site
    form: VisitForm
    counts: CountTable
    mistakes: tuple[Mistake, ...]
    seconds: float
    others: tuple[Landmark, ...] = ()

    @property
    def planned(self) -> int:
        """Kicking time of the standard effort, s."""
        return self.site.planned_seconds

    @property
    def places(self) -> str:
        """Where the sites are, for the page's script."""
        return places_for_page(self.site, self.others)

    @property
    def section_mistakes(self) -> dict[str, str]:
        """What is wrong with a part as a whole, by its id."""
        parts = {target for target, _label in SECTIONS.values()}
        return {mistake.target: mistake.message for mistake in self.mistakes if mistake.target in parts}


def visit_entry(
    *,
    site: Site,
    people: Choices,
    kits: Choices = (),
    taxa: Sequence[ListTaxon],
    data: Mapping[str, Any],
    problems: Iterable[Remark] = (),
    findings: Iterable[Remark] = (),
    photo_problem: str = "",
    others: tuple[Landmark, ...] = (),
) -> VisitEntry:
    """Lay out `data` (a submission's, possibly faulty) with `problems` and `findings` beside their fields.

    `others` are the places of the group's other sites.
    """
    problems, findings = tuple(problems), tuple(findings)
    errors = by_name(problems)
    form = VisitForm(site=site, people=people, kits=kits, data=data, errors=errors, findings=by_name(findings))
    table = CountTable(taxa, data.get("counts", ()), _by_taxon(problems), _by_taxon(findings))
    ordered = sorted(problems, key=lambda problem: _place_on_page(problem.field, tuple(form.fields)))
    mistakes = [_mistake(problem, form, table) for problem in ordered]
    if photo_problem:
        mistakes.append(Mistake("photo", _("Picture"), photo_problem))
    return VisitEntry(site, form, table, tuple(mistakes), seconds_in(data), others)


def name_of(path: str) -> str:
    """The page's name of a field, from its path in a submission: "spots.1.seconds" is "spots-1-seconds"."""
    kind, _dot, rest = path.partition(".")
    if kind == "spots" and rest:
        number, _dot, part = rest.partition(".")
        return f"spots-{number}-{part or 'kicks'}"
    if kind == "measurements" and rest:
        key, _dot, part = rest.partition(".")
        return f"measurements-{key}-{part or 'value'}"
    return path


def by_name(remarks: Iterable[Remark]) -> dict[str, list[str]]:
    """Messages under the page's names of their fields."""
    found: dict[str, list[str]] = defaultdict(list)
    for remark in remarks:
        found[name_of(remark.field)].append(str(remark.message))
    return dict(found)


def taxon_of(path: str) -> str | None:
    """The taxon that a path like "counts.Baetidae" speaks of, or None; of the whole tray, the path itself."""
    kind, _dot, taxon = path.partition(".")
    return path if kind == WHOLE_TRAY else taxon if kind == "counts" else None


def _by_taxon(remarks: Iterable[Remark]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = defaultdict(list)
    for remark in remarks:
        taxon = taxon_of(remark.field)
        if taxon is not None:
            found[taxon].append(str(remark.message))
    return dict(found)


def _place_on_page(path: str, fields: Sequence[str]) -> int:
    """How far down the page a field stands, so that the list of mistakes is walked from top to bottom."""
    names = [*(name for name in fields if name not in BELOW_MEASUREMENTS), *BELOW_MEASUREMENTS]
    name = "counts" if taxon_of(path) is not None else name_of(path)
    # A part as a whole, such as "spots", stands where its first field does.
    return next((place for place, each in enumerate(names) if each.startswith(name)), 0)


def _mistake(problem: Remark, form: VisitForm, table: CountTable) -> Mistake:
    if problem.field in SECTIONS:
        target, label = SECTIONS[problem.field]
        return Mistake(target, str(label), problem.message)
    taxon = taxon_of(problem.field)
    if taxon is not None:
        return Mistake(table.anchor_of(taxon), table.label_of(taxon), problem.message)
    name = name_of(problem.field)
    if name in form.fields:
        # A group of choices has no single control to point at: its first one takes the focus.
        target = form[name].id_for_label or f"{form[name].auto_id}_0"
        return Mistake(target, _label(name, form), problem.message)
    return Mistake("", "", problem.message)


def _label(name: str, form: VisitForm) -> str:
    label = str(form[name].label)
    if name.startswith("spots-"):
        return _("Spot %(number)s, %(label)s") % {
            "number": name.split("-")[1],
            "label": label[:1].lower() + label[1:],
        }
    return label


def seconds_in(data: Mapping[str, Any]) -> float:
    """Kicking time typed so far, in seconds; what is no number counts as none."""
    return sum(_seconds(spot.get("seconds")) for spot in data.get("spots", ()))


def _seconds(text: Any) -> float:
    try:
        return float(str(text).replace(",", "."))
    except ValueError:
        return 0.0


def read_entry(data: Mapping[str, Any], *, number: UUID, site: UUID) -> Submission:
    """The typed data as a submission; raises InvalidSubmission with what only a page can get wrong as well."""
    odd = tuple(_page_problems(data))
    read = {**data, **_rows_meant(data), "id": str(number), "site": str(site)}
    try:
        submission = parse_submission(read)
    except InvalidSubmission as refusal:
        raise InvalidSubmission((*odd, *refusal.problems), refusal.readable) from refusal
    if odd:
        raise InvalidSubmission(odd, submission)
    return submission


def _rows_meant(data: Mapping[str, Any]) -> dict[str, list[Any]]:
    """Rows that say something: nameless counts are told apart, and planned kicks alone are not a visit made."""
    spots = list(data.get("spots", ()))
    if not data.get("was_made", True):
        spots = [spot for spot in spots if any(spot.get(part) for part in ("flow_type", "seconds", "depth_cm"))]
    counts = [entry for entry in data.get("counts", ()) if entry.get("taxon") and _says_how_many(entry)]
    return {"counts": counts, "spots": spots}


def _says_how_many(entry: Mapping[str, Any]) -> bool:
    return bool(entry.get("count") or entry.get("range") or entry.get("present"))


def _page_problems(data: Mapping[str, Any]) -> Iterator[Problem]:
    for entry in data.get("counts", ()):
        kind = WHOLE_TRAY if entry.get("whole_tray") else "counts"
        field = f"{kind}.{entry.get('recorded_as') or entry.get('taxon', '')}"
        if entry.get("none"):
            words = _("You ticked “looked for, none” and gave a number as well. Keep one of the two.")
            yield Problem(field, words, "count_at_odds")
        if not entry.get("taxon"):
            yield Problem(field, _("Say what it was, or clear the row."), "missing")
        elif not _says_how_many(entry):
            yield Problem(field, _number_wanted(entry), "missing")


def _number_wanted(entry: Mapping[str, Any]) -> str:
    if entry.get("by_key"):
        return _("You found it with the key: say how many there were, or take the mark of the key away.")
    return _("Say how many there were, or clear the name.")
