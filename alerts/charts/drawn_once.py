"""A drawing is made once and kept for every page, e-mail and document that shows the same.

It is kept under a digest of all that it is made from: figures, words, language, size, and the release that
draws. Whatever changes any of them asks for another drawing, so that a kept one is never out of date, and
nobody is shown figures that their own page has not read.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from time import monotonic
from typing import ParamSpec

from django.core.cache import caches
from django.utils.safestring import SafeString, mark_safe
from redis.exceptions import RedisError

from portal.charts import Drawing, to_png
from surveys.offline.release import release

P = ParamSpec("P")
CACHE = "drawings"
# For the sake of room only.
KEPT_SECONDS = 14 * 24 * 3600
# Drawing takes a few milliseconds; a server that does not answer must not cost each chart its timeout.
REST_SECONDS = 10.0
_rest_until = 0.0


class AsBytes:
    """How Django's cache writes to Redis: bytes as they are, so that nothing read there is unpickled."""

    def dumps(self, value: bytes) -> bytes:
        return value

    def loads(self, data: bytes) -> bytes:
        return data


def drawn_once(draw: Callable[P, Drawing], *args: P.args, **kwargs: P.kwargs) -> Drawing:
    """What `draw` makes of these arguments: plain values, dataclasses or lists of them, never an iterator."""
    key = _version(draw, args, kwargs)
    kept = _once(key, lambda: draw(*args, **kwargs).encode())
    return Drawing(kept.decode())


def pictured_once(svg: Drawing, *, width: int) -> bytes:
    """PNG of a drawing, `width` pixels wide: an alert goes to several people with the same picture."""
    return _once(_version(to_png, (str(svg), width), {}), lambda: to_png(svg, width=width))


@dataclass(frozen=True)
class Pieces:
    """Several pieces of a page that belong together, named by all that `make` draws them from."""

    name: str
    make: Callable[[], Sequence[str]]


def pieces_from(made_from: object, make: Callable[[], Sequence[str]]) -> Pieces:
    """`made_from`: all that `make` reads, in plain values.

    What it draws is HTML of ours, in which everything that a person typed has been escaped.
    """
    return Pieces(_version(make, made_from), make)


def set_once(pieces: Pieces) -> list[SafeString]:
    """The pieces, drawn where they are not kept."""
    return _read_out(_once(pieces.name, lambda: json.dumps(pieces.make()).encode()))


def set_once_since(known: object, find: Callable[[], Pieces]) -> list[SafeString]:
    """The pieces that `find` finds, which is not called again for the same `known`.

    `known` are plain values that differ whenever what `find` reads does. Only the name of the pieces is kept
    for them, so that what has changed elsewhere costs reading and not drawing.
    """
    key = _version(find, known)
    name = _read(key)
    kept = _read(name.decode()) if name else None
    if kept is not None:
        return _read_out(kept)
    pieces = find()
    _write(key, pieces.name.encode())
    return set_once(pieces)


def _read_out(kept: bytes) -> list[SafeString]:
    return [mark_safe(each) for each in json.loads(kept)]  # noqa: S308


def _version(draw: Callable[..., object], *made_from: object) -> str:
    named = (release(), draw.__module__, draw.__qualname__, made_from)
    return sha256(repr(named).encode("utf-8", "backslashreplace")).hexdigest()


def _once(key: str, make: Callable[[], bytes]) -> bytes:
    kept = _read(key)
    if kept is None:
        kept = make()
        _write(key, kept)
    return kept


def _read(key: str) -> bytes | None:
    if monotonic() < _rest_until:
        return None
    try:
        found: bytes | None = caches[CACHE].get(key)
    except RedisError:
        _rest()
        return None
    return found


def _write(key: str, drawing: bytes) -> None:
    if monotonic() < _rest_until:
        return
    try:
        caches[CACHE].set(key, drawing, KEPT_SECONDS)
    except RedisError:
        _rest()


def _rest() -> None:
    global _rest_until
    _rest_until = monotonic() + REST_SECONDS
