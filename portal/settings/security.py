"""What browsers and proxies are told and believed: hosts, cookies, headers, HTTPS."""

from csp.constants import NONE, SELF

from portal.settings.environment import PRODUCTION, env
from portal.settings.maps import MAP_TILES, hosts_of

ALLOWED_HOSTS: list[str] = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS: list[str] = env.list("CSRF_TRUSTED_ORIGINS", default=[])

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "img-src": [SELF, "data:", "blob:", *hosts_of(MAP_TILES)],
        "object-src": [NONE],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "form-action": [SELF],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = PRODUCTION
# A browser takes "__Host-" only over HTTPS from this very host: no other site of the domain can plant one.
_HOST = "__Host-" if PRODUCTION else ""
SESSION_COOKIE_NAME = f"{_HOST}sessionid"
CSRF_COOKIE_NAME = f"{_HOST}csrftoken"
LANGUAGE_COOKIE_NAME = f"{_HOST}django_language"
MESSAGES_COOKIE_NAME = f"{_HOST}messages"
DEVICE_COOKIE_NAME = f"{_HOST}known_device"
MESSAGE_STORAGE = "portal.serving.passing_messages.PassingMessages"
SECURE_SSL_REDIRECT = PRODUCTION
# Anybody can write X-Forwarded-For; only as many of its last entries as there are proxies of ours are believed.
ALLAUTH_TRUSTED_PROXY_COUNT: int = int(env.str("PROXIES", default="") or 0)
_is_proxied = PRODUCTION and ALLAUTH_TRUSTED_PROXY_COUNT > 0
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if _is_proxied else None
SECURE_HSTS_SECONDS = 31_536_000 if PRODUCTION else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = PRODUCTION
