"""Redis or Valkey, and what is kept in it for a while."""

from portal.embedded.valkey import client_address
from portal.settings.environment import env

REDIS_URL: str = env.str("REDIS_URL", default="redis://localhost:6379/0")
# All processes share drawings where there is a Redis; `drawn_once` does without one that is down.
_shared = {
    "BACKEND": "django.core.cache.backends.redis.RedisCache",
    "LOCATION": client_address(REDIS_URL),
    "OPTIONS": {"serializer": "alerts.charts.drawn_once.AsBytes", "socket_timeout": 1},
}
_own = {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
# Limits on trying hold for all processes together; `signing_in/limits.py` says what holds while Redis is down.
_counts = {
    "BACKEND": "portal.accounts.signing_in.limits.SharedCounts",
    "LOCATION": client_address(REDIS_URL),
    "OPTIONS": {
        "serializer": "portal.accounts.signing_in.limits.AsJson",
        "socket_timeout": 1,
        "socket_connect_timeout": 1,
    },
    "KEY_PREFIX": "counts",
}
CACHES = {
    "default": _counts if "REDIS_URL" in env else _own,
    "own": {**_own, "LOCATION": "own"},
    "drawings": {
        **(_shared if "REDIS_URL" in env else {**_own, "LOCATION": "drawings"}),
        "KEY_PREFIX": "drawing",
    },
}
