"""What the key is made of: steps with answers, ends with a name, and the ways between them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from scoring.taxa import Taxon, all_taxa, find_taxon


@dataclass(frozen=True)
class Choice:
    """One answer: where it leads, which features it takes for granted, and whether it is "I cannot tell"."""

    text: str
    to: str
    drawing: str = ""
    shows: Mapping[str, str] = field(default_factory=dict)
    unsure: bool = False


@dataclass(frozen=True)
class Step:
    """A question with its answers; `sources` are keys of the table of sources."""

    id: str
    question: str
    choices: tuple[Choice, ...]
    sources: tuple[str, ...]
    help: str = ""


@dataclass(frozen=True)
class End:
    """Where a way ends: a taxon that scoring knows, or none where the key leads no further.

    `sure` says by what means one can be sure: "tray", "lens" or "microscope". `also` are names between the
    taxon and its order under which a list may have it; `one_of` are the only taxa of a wider name that it
    can be.
    """

    id: str
    taxon: str
    drawing: str
    sure: str
    marks: str
    beware: str
    care: str = ""
    also: tuple[str, ...] = ()
    one_of: tuple[str, ...] = ()

    @property
    def found(self) -> Taxon | None:
        """The taxon of the tables, or None."""
        return find_taxon(self.taxon) if self.taxon else None

    @property
    def broader(self) -> Taxon | None:
        """What to record where one is not sure: the next wider group, or None where there is none."""
        found = self.found
        return find_taxon(found.lineage[1]) if found and len(found.lineage) > 1 else None

    @property
    def lines(self) -> tuple[str, ...]:
        """Names of lines that the animal may be recorded under, the best first."""
        found = self.found
        return tuple(dict.fromkeys((found.name, *self.also, *found.lineage[1:]))) if found else ()

    @property
    def broader_lines(self) -> tuple[str, ...]:
        """The same for the broader group."""
        return self.broader.lineage if self.broader else ()

    @property
    def narrower(self) -> tuple[str, ...]:
        """Names below the taxon, for lists that have only those."""
        return self.one_of or tuple(each.name for each in all_taxa() if self.taxon in each.lineage[1:])


@dataclass(frozen=True)
class Source:
    """A book or key; `status` is "read" where its text was read for this key, else "memory"."""

    id: str
    short: str
    text: str
    status: str


@dataclass(frozen=True)
class Turn:
    """A step of a way and the answer given there."""

    step: Step
    choice: Choice


Way = tuple[Turn, ...]


@dataclass(frozen=True)
class Key:
    """The whole key; `first` is the id of the step to begin with. Ids of steps and ends never coincide."""

    first: str
    steps: Mapping[str, Step]
    ends: Mapping[str, End]
    sources: Mapping[str, Source]

    def turns_to(self, target: str) -> list[Turn]:
        """The answers that lead straight to a step or an end."""
        return [
            Turn(step, choice) for step in self.steps.values() for choice in step.choices if choice.to == target
        ]

    def ways_to(self, target: str) -> list[Way]:
        """Every way from the first step to a step or an end."""
        if target == self.first:
            return [()]
        return [(*way, turn) for turn in self.turns_to(target) for way in self.ways_to(turn.step.id)]

    def in_order(self) -> Iterator[Step | End]:
        """Steps and ends, each once, as somebody meets them who tries the first answers first."""
        seen: set[str] = set()
        waiting = [self.first]
        while waiting:
            each = waiting.pop()
            if each in seen:
                continue
            seen.add(each)
            part = self.steps.get(each) or self.ends[each]
            yield part
            if isinstance(part, Step):
                waiting += [choice.to for choice in reversed(part.choices)]

    def drawing_of(self, choice: Choice) -> str:
        """The drawing beside an answer: its own, or that of the end it leads to; none where nobody is sure."""
        end = None if choice.unsure else self.ends.get(choice.to)
        return choice.drawing or (end.drawing if end else "")
