"""Reading the key from its files, and refusing one that leads nowhere."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from scoring.taxa import find_taxon
from surveys.identification.types import Choice, End, Key, Source, Step

FIRST = "start"
SURE = ("tray", "lens", "microscope")
SOURCE_STATUS = ("read", "memory")
Tables = Mapping[str, Any]


class InvalidKey(ValueError):
    """The files make no key that can be walked; `problems` say why."""

    def __init__(self, problems: Iterable[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(self.problems))


@cache
def load_key() -> Key:
    """The key of this release; raises InvalidKey."""
    here = files("surveys.identification")
    parts = sorted(here.joinpath("key").iterdir(), key=lambda part: part.name)
    texts = [part.read_text(encoding="utf-8") for part in parts if part.name.endswith(".toml")]
    return read_key(texts, here.joinpath("sources.toml").read_text(encoding="utf-8"))


def read_key(parts: Iterable[str], sources: str) -> Key:
    """The key that these TOML texts make together; raises InvalidKey with every problem found."""
    tables = [tomllib.loads(part) for part in parts]
    steps = [_step(told) for table in tables for told in table.get("steps", ())]
    ends = [_end(told) for table in tables for told in table.get("ends", ())]
    books = {name: Source(id=name, **told) for name, told in tomllib.loads(sources).items()}
    key = Key(FIRST, {step.id: step for step in steps}, {end.id: end for end in ends}, books)
    if problems := [*_repeated([*steps, *ends]), *_problems(key)]:
        raise InvalidKey(problems)
    return key


def _step(told: Tables) -> Step:
    choices = tuple(Choice(**choice) for choice in told["choices"])
    return Step(**{**told, "choices": choices, "sources": tuple(told["sources"])})


def _end(told: Tables) -> End:
    several = {name: tuple(told.get(name, ())) for name in ("also", "one_of")}
    return End(**{**told, **several})


def _repeated(parts: Iterable[Step | End]) -> Iterator[str]:
    seen: set[str] = set()
    for part in parts:
        if part.id in seen:
            yield f"{part.id} stands twice"
        seen.add(part.id)


def _problems(key: Key) -> Iterator[str]:
    if key.first not in key.steps:
        yield f"there is no step {key.first}"
        return
    yield from (problem for step in key.steps.values() for problem in _wrong_step(key, step))
    yield from (problem for end in key.ends.values() for problem in _wrong_end(end))
    yield from _wrong_ways(key)
    for source in key.sources.values():
        if source.status not in SOURCE_STATUS:
            yield f"source {source.id} has the unknown status {source.status}"


def _wrong_step(key: Key, step: Step) -> Iterator[str]:
    if len(step.choices) < 2:
        yield f"step {step.id} asks nothing: it has fewer than two answers"
    for choice in step.choices:
        if choice.to not in key.steps and choice.to not in key.ends:
            yield f"step {step.id} leads to {choice.to}, which is missing"
    if not step.sources:
        yield f"step {step.id} names no source"
    yield from (
        f"step {step.id} names the unknown source {name}" for name in step.sources if name not in key.sources
    )


def _wrong_end(end: End) -> Iterator[str]:
    if end.sure not in SURE:
        yield f"end {end.id} is sure by {end.sure}, which is none of {', '.join(SURE)}"
    names = (end.taxon, *end.also, *end.one_of)
    yield from (
        f"end {end.id} names {name}, which scoring does not know" for name in names if _is_unknown(name)
    )


def _is_unknown(name: str) -> bool:
    found = find_taxon(name)
    # Only the exact name: what is recorded must be what the tables say.
    return bool(name) and (found is None or found.name != name)


def _wrong_ways(key: Key) -> Iterator[str]:
    """Steps in a tree, so that every step has one way to it and no way runs in a circle."""
    for step in key.steps:
        turns = key.turns_to(step)
        if step == key.first and turns:
            yield f"{step} is led to from {turns[0].step.id}: the first step has nothing before it"
        elif step != key.first and len(turns) != 1:
            yield f"{step} is led to from {len(turns)} answers, not from one"
    met = {step.id for step in _reached(key)}
    yield from (f"{step} lies in a circle that nothing leads into" for step in key.steps if step not in met)
    yield from (f"no answer leads to {end}" for end in key.ends if not key.turns_to(end))


def _reached(key: Key) -> Iterator[Step]:
    waiting, met = [key.first], set[str]()
    while waiting:
        step = key.steps.get(waiting.pop())
        if step and step.id not in met:
            met.add(step.id)
            yield step
            waiting += [choice.to for choice in step.choices]
