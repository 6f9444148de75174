"""Where tries are counted, so that limits hold for all processes together.

With a Redis they are counted there. One that is down locks nobody out: each process then counts for itself, as
without one, until it is back.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import suppress
from time import monotonic
from typing import Any

from django.core.cache import caches
from django.core.cache.backends.redis import RedisCache
from redis.exceptions import RedisError

OWN = "own"
# A server that does not answer must not cost each try its timeout.
REST_SECONDS = 10.0


class AsJson:
    """How values are written to Redis: numbers, texts and lists; nothing read there is unpickled."""

    def dumps(self, value: Any) -> bytes:
        return json.dumps(value).encode()

    def loads(self, data: bytes) -> Any:
        return json.loads(data)


def _with_fallback(name: str) -> Callable[..., Any]:
    def call(self: SharedCounts, *args: Any, **kwargs: Any) -> Any:
        if monotonic() >= SharedCounts.rest_until:
            try:
                return getattr(RedisCache, name)(self, *args, **kwargs)
            except RedisError:
                SharedCounts.rest_until = monotonic() + REST_SECONDS
        return getattr(caches[OWN], name)(*args, **kwargs)

    call.__name__ = name
    return call


class SharedCounts(RedisCache):
    """Django's cache in Redis, but each process's own while the server is away."""

    # Of the whole process: each thread has a cache object of its own.
    rest_until = 0.0

    add = _with_fallback("add")
    get = _with_fallback("get")
    set = _with_fallback("set")
    touch = _with_fallback("touch")
    delete = _with_fallback("delete")
    incr = _with_fallback("incr")
    has_key = _with_fallback("has_key")
    get_many = _with_fallback("get_many")
    set_many = _with_fallback("set_many")
    delete_many = _with_fallback("delete_many")

    def clear(self) -> None:
        """Drop what is counted here and nothing else: jobs and drawings lie in the same database."""
        caches[OWN].clear()
        with suppress(RedisError):
            client = self._cache.get_client(None, write=True)
            for key in client.scan_iter(match=self.make_key("*"), count=1000):
                client.delete(key)
