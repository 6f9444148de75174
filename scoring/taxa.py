"""Finding the taxon that somebody wrote: Latin names, synonyms, English names, genus and species.

Names come from `tables/taxa.csv` and `tables/genera.csv`. A name that is not known is never guessed;
`suggest` offers the closest ones for a person to choose from.
"""

import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache, cached_property, lru_cache

from scoring.tables import Row, read_table, split_names

# Open nomenclature after a name ("sp.", "cf.") says how sure the namer was, not which family it is.
QUALIFIERS = frozenset({"sp", "spp", "indet", "gen", "det", "cf", "aff", "agg", "gr", "juv", "family"})
STAGES = {"larvae": "larva", "nymphs": "nymph", "pupae": "pupa", "adults": "adult"}
STAGE_WORDS = frozenset({*STAGES, *STAGES.values()})
JOINING_WORDS = frozenset({"and", "or", "with", "other", "others", "not"})
LONGEST_NAME = 6


@dataclass(frozen=True)
class Taxon:
    """One taxon of the tables. `order` is an order, or for worms, snails and the like their class or group."""

    name: str
    rank: str
    order: str
    english: str
    synonyms: tuple[str, ...] = ()
    parent: str = ""
    status: str = ""
    note: str = ""

    @cached_property
    def lineage(self) -> tuple[str, ...]:
        """Names of this taxon and the higher ones that hold it, nearest first."""
        above = _by_name().get(self.parent)
        return (self.name, *(above.lineage if above else ()))

    @cached_property
    def family(self) -> str:
        """The family this taxon is or belongs to; empty for an order or a wider group."""
        ranks = _by_name()
        return next((name for name in self.lineage if ranks[name].rank == "family"), "")


def name_key(text: str) -> str:
    """Return a name without case, spare spaces, brackets and open nomenclature: "BAETIS  sp." -> "baetis"."""
    plain = unicodedata.normalize("NFKC", text).casefold().replace("_", " ")
    plain = re.sub(r"\bspp?\.?\s*\d+\b", " ", re.sub(r"[()]", " ", plain))
    words = (word.strip(".,;:") for word in plain.split())
    return " ".join(STAGES.get(word, word) for word in words if word and word not in QUALIFIERS)


def all_taxa() -> tuple[Taxon, ...]:
    """Return every taxon of the table, groups and orders first."""
    return tuple(_by_name().values())


@lru_cache(maxsize=10_000)
def find_taxon(text: str) -> Taxon | None:
    """Return the taxon of that Latin name, synonym or English name, or None. Genera are left to `roll_up`."""
    key = name_key(text)
    return _by_key().get(key) or _by_key().get(_without_stage(key))


@lru_cache(maxsize=10_000)
def roll_up(text: str) -> Taxon | None:
    """Return the taxon as `find_taxon` does, else the family of a genus, species or listed misspelling."""
    found = find_taxon(text)
    if found:
        return found
    # A subgenus or an author stands in brackets after the genus: "Baetis (Nigrobaetis) niger".
    key = _without_stage(name_key(re.sub(r"\([^)]*\)", " ", text)))
    if key in _genera():
        return _by_name()[_genera()[key]]
    words = key.split()
    return _by_name()[_genera()[words[0]]] if _is_species(words) else None


def suggest(text: str) -> list[str]:
    """Return up to five known names close to an unknown one, best first; empty when nothing is near."""
    names = _known_names()
    key = _without_stage(name_key(text))
    near = get_close_matches(key, names, n=5, cutoff=0.75)
    near += get_close_matches(key.split(" ")[0], list(_genera()), n=2, cutoff=0.8)
    return list(dict.fromkeys(names[match] for match in near))[:5]


def _is_species(words: list[str]) -> bool:
    if not words or len(words) > LONGEST_NAME or words[0] not in _genera():
        return False
    # The first species of a genus may repeat its name: Tubifex tubifex.
    return all(word == words[0] or _may_follow_genus(word) for word in words[1:])


def _may_follow_genus(word: str) -> bool:
    # "Baetis or Cloeon" names two taxa: which was meant is for the recorder to say.
    if word in JOINING_WORDS or word in _genera() or word in _by_key():
        return False
    return bool(re.fullmatch(r"[^\W\d_]+([-'/.][^\W\d_]+)*|\d{4}", word))


def _without_stage(key: str) -> str:
    return " ".join(word for word in key.split() if word not in STAGE_WORDS)


@cache
def _by_name() -> Mapping[str, Taxon]:
    return {row["name"]: _read_taxon(row) for row in read_table("taxa")}


def _read_taxon(row: Row) -> Taxon:
    english = split_names(row["english"])
    return Taxon(
        name=row["name"],
        rank=row["rank"],
        order=row["order"],
        english=english[0] if english else "",
        synonyms=split_names(row["synonyms"]) + english[1:],
        parent=row["parent"],
        status=row["status"],
        note=row["note"],
    )


@cache
def _by_key() -> Mapping[str, Taxon]:
    return {key: taxon for taxon in all_taxa() for key in _keys_of(taxon)}


def _keys_of(taxon: Taxon) -> Iterator[str]:
    for name in filter(None, (taxon.name, taxon.english, *taxon.synonyms)):
        key = name_key(name)
        yield from (key, _plural(key))


def _plural(key: str) -> str:
    if key.endswith("y") and not key.endswith("ey"):
        return key[:-1] + "ies"
    if key.endswith("louse"):
        return key.removesuffix("louse") + "lice"
    return key + ("es" if key.endswith(("s", "x", "h")) else "s")


@cache
def _genera() -> Mapping[str, str]:
    """Keys of genera, and of their synonyms and listed misspellings, with the family each belongs to."""
    rows = read_table("genera")
    return {
        name_key(name): row["family"] for row in rows for name in (row["genus"], *split_names(row["synonyms"]))
    }


@cache
def _known_names() -> Mapping[str, str]:
    names = {name_key(row["genus"]): row["genus"] for row in read_table("genera")}
    for taxon in all_taxa():
        names |= {name_key(name): name for name in (taxon.name, taxon.english, *taxon.synonyms) if name}
    return names
