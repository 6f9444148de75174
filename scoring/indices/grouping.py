"""From recorded names to the taxa that a published table scores: synonyms, joined families, wider groups."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

from scoring.samples import Amount, Sample
from scoring.tables import Row, read_table, split_names
from scoring.taxa import Taxon, roll_up

Place = Callable[[Taxon], str]


@dataclass(frozen=True)
class Grouping:
    """A sample by scoring taxon: animals of each, the recorded names used, and those that found no place.

    `without_number` are the used names of which only presence was recorded.
    """

    amounts: Mapping[str, Amount]
    used: tuple[str, ...]
    left_out: tuple[str, ...]
    without_number: tuple[str, ...] = ()


def group_sample(sample: Sample, place: Place) -> Grouping:
    """Add up the animals of each scoring taxon. `place` names it, or gives "" for a taxon without one."""
    amounts: dict[str, Amount] = {}
    used: list[str] = []
    for name, amount in sample.items():
        taxon = roll_up(name)
        target = place(taxon) if taxon else ""
        if target:
            amounts[target] = amounts[target] + amount if target in amounts else amount
            used.append(name)
    # Names stay as recorded, so that the recorder recognises them.
    left_out = tuple(name for name in sample if name not in used)
    without_number = tuple(name for name in used if sample[name].number is None)
    return Grouping(dict(sorted(amounts.items())), tuple(used), left_out, without_number)


def place_in_table(table: str) -> Place:
    """Return the place function of a table with the columns `taxon` and `includes`."""

    def place(taxon: Taxon) -> str:
        places = _places(table)
        # A taxon the table lacks is scored as the wider one it has: worm families as Oligochaeta.
        return next((places[name] for name in taxon.lineage if name in places), "")

    return place


@cache
def _places(table: str) -> Mapping[str, str]:
    return {name: row["taxon"] for row in read_table(table) for name in _names_scored(row)}


def _names_scored(row: Row) -> tuple[str, ...]:
    return (row["taxon"], *split_names(row["includes"]))
