"""What each index is, where it comes from, what it answers to and how far it can be trusted."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from types import MappingProxyType


@dataclass(frozen=True)
class Method:
    """One versioned index, as told in `tables/methods.toml`.

    `level` is the identification it needs, `decimals` how many are printed, `verified` how well table and
    formula were held against the publication, `higher_is` "better" or "worse"; `needs_numbers` marks an index
    that presence alone cannot give.
    """

    key: str
    version: str
    name: str
    title: str
    formula: str
    source: str
    verified: str
    level: str
    responds_to: str
    limits: str
    unit: str
    decimals: int
    higher_is: str
    needs_numbers: bool


def _read_methods() -> Mapping[str, Method]:
    text = files("scoring.tables").joinpath("methods.toml").read_text(encoding="utf-8")
    return MappingProxyType({key: Method(key=key, **told) for key, told in tomllib.loads(text).items()})


METHODS = _read_methods()
