"""A visit beside the site's earlier ones, for whoever checks it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.utils.translation import gettext as _

from portal.accounts.access import Person
from portal.accounts.prepared import planned
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Visit
from surveys.models.visits import WaterLevel
from surveys.visits.parts import laid_out, with_parts
from surveys.visits.sheets import Counted, counted, word_of

EARLIER_VISITS = 5
# What a comparison shows of a visit besides its scores, effort and counts.
OF_COLUMN = ("group", "visited_on", "water_level", "recording_list")
Lines = Mapping[str, Sequence[Counted]]


@dataclass(frozen=True)
class TaxonRow:
    """One taxon over the visits compared: what was counted at each, this visit first, and what is odd."""

    taxon: str
    counts: tuple[str, ...]
    remark: str


@dataclass(frozen=True)
class Comparison:
    """The visit itself, the earlier ones newest first, and the taxa."""

    visits: tuple[Visit, ...]
    taxa: tuple[TaxonRow, ...]

    @property
    def has_earlier(self) -> bool:
        """Whether there is anything to compare with."""
        return len(self.visits) > 1

    @property
    def water_levels(self) -> list[str]:
        """How high the water was at each, in words."""
        return [word_of(WaterLevel, each.water_level) for each in self.visits]


def compare_visit(visit: Visit) -> Comparison:
    """Set the visit against up to five earlier ones that were made at its site (one query)."""
    earlier = laid_out(_earlier(visit.site_id, visit.pk, visit.visited_on))
    visits = (visit, *earlier)
    tables = [_by_taxon(visit.counts.all()), *(_by_taxon(each.tallies) for each in earlier)]  # type: ignore[attr-defined]
    taxa = dict.fromkeys(taxon for table in tables for taxon in table)
    rows = (_row(taxon, tables) for taxon in sorted(taxa))
    return Comparison(visits, tuple(row for row in rows if row is not None))


@planned
def _earlier(site: UUID, number: UUID, day: date) -> GroupOwnedQuerySet[Visit]:
    # By the site alone, whose index has them in order: with the group, PostgreSQL sorts all of ten years.
    at_site = Visit.objects.across_groups("of a site that was found in its group").filter(site=site)
    earlier = at_site.filter(was_made=True, visited_on__lte=day).exclude(pk=number)
    return with_parts(earlier.only(*OF_COLUMN), "figures", "tallies", "effort")[:EARLIER_VISITS]


def _by_taxon(counts: Iterable[Counted]) -> Lines:
    """The lines of each taxon: two genera of one family, or a share of the tray and the rest, are two lines."""
    lines: dict[str, list[Counted]] = defaultdict(list)
    for count in counts:
        lines[count.taxon].append(count)
    return lines


def _row(taxon: str, tables: Sequence[Lines]) -> TaxonRow | None:
    """The row of a taxon found now or at half of the earlier visits; others would only be noise."""
    now, *before = [table.get(taxon, []) for table in tables]
    times = sum(_is_found(count) for count in before)
    is_usual = bool(before) and times * 2 >= len(before)
    if not (_is_found(now) or is_usual):
        return None
    shown = tuple(_shown(count) for count in (now, *before))
    return TaxonRow(taxon, shown, _remark(_is_found(now), times, len(before)))


def _shown(lines: Sequence[Counted]) -> str:
    if not lines:
        return "–"
    return " + ".join(counted(line) for line in lines if line.count != 0) or _("none")


def _is_found(lines: Sequence[Counted]) -> bool:
    return any(line.count != 0 for line in lines)


def _remark(is_found: bool, times: int, visits: int) -> str:
    if is_found and visits and not times:
        return _("not found at the last %(visits)d visits") % {"visits": visits}
    if not is_found:
        return _("missing now; found at %(times)d of the last %(visits)d") % {"times": times, "visits": visits}
    return ""


def part_taken(person: Person, visit: Visit) -> list[str]:
    """How the person was involved in the visit, in words; whoever was, does not approve it."""
    parts = [
        (visit.recorder_id == person.user_id, _("you recorded it")),
        (visit.partner_id == person.user_id, _("you were the partner")),
        (visit.entered_by_id == person.user_id, _("you sent it in")),
        (any(user.pk == person.user_id for user in visit.corrected_by.all()), _("you corrected it")),
    ]
    return [words for is_so, words in parts if is_so]
