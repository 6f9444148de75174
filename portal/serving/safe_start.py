"""A portal for real people does not start with a setting that lets strangers in; it says what to set instead.

Pure rules over the settings. `manage.py` asks them as system checks; web server, worker and scheduler as they
start.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from ipaddress import ip_address
from typing import Any
from urllib.parse import parse_qs, urlsplit

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured

# As Django's own check for deployments wants it (security.W009).
SHORTEST_KEY, FEWEST_CHARACTERS = 50, 12
SHORTEST_TOKEN = 24
# What stands in examples and in keys that Django makes for development.
KNOWN_KEYS = (
    "django-insecure-",
    "changeme",
    "change-me",
    "change_me",
    "example",
    "while-building",
    "your-secret",
)
MAKE_KEY = "python -c 'import secrets; print(secrets.token_urlsafe(60))'"


@dataclass(frozen=True)
class Danger:
    """One unsafe setting: the environment variable that is to be changed, and a sentence that says to what."""

    variable: str
    told: str


Rule = Callable[[Any], str]


def is_this_machine(host: str) -> bool:
    """Whether a host name or address is the machine's own, so that nothing crosses a network."""
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost" or host.endswith(".localhost")


def secret_key(given: Any) -> str:
    if "SECRET_KEY" not in given.GIVEN:
        return f"SECRET_KEY is not set. Set it, the same for all processes, to the output of: {MAKE_KEY}"
    key = given.SECRET_KEY
    if any(known in key.lower() for known in KNOWN_KEYS):
        return f"SECRET_KEY is one that others know. Set it to the output of: {MAKE_KEY}"
    if len(key) < SHORTEST_KEY or len(set(key)) < FEWEST_CHARACTERS:
        return f"SECRET_KEY is short or easily guessed. Set it to the output of: {MAKE_KEY}"
    return ""


def debug(given: Any) -> str:
    return "DEBUG shows settings and code to everybody. Leave it out, or set it to 0." if given.DEBUG else ""


def demo(given: Any) -> str:
    return "DEMO opens everybody's mail to everybody. Leave it out, or set it to 0." if given.DEMO else ""


def allowed_hosts(given: Any) -> str:
    # "." alone would be read as any host's end; an empty entry comes of a stray comma.
    if any("*" in host or not host.strip(". ") for host in given.ALLOWED_HOSTS):
        return "ALLOWED_HOSTS lets any host name pass. Name the host names under which the portal is reached."
    return ""


def base_url(given: Any) -> str:
    parts = urlsplit(given.BASE_URL)
    if parts.scheme != "https" or not parts.hostname:
        return (
            "BASE_URL must begin with https://, because links in e-mails let people in. Set the public address."
        )
    return ""


def trusted_origins(given: Any) -> str:
    if any("*" in origin or not origin.startswith("https://") for origin in given.CSRF_TRUSTED_ORIGINS):
        return "CSRF_TRUSTED_ORIGINS may name only whole https:// addresses, without *."
    return ""


def mail_server(given: Any) -> str:
    mail = given.OUTBOX_SMTP
    if mail["use_tls"] or mail["use_ssl"] or is_this_machine(mail["host"]):
        return ""
    return (
        "EMAIL_URL sends mail over the network unencrypted. Use smtp+tls:// or smtp+ssl://, or a mail server on"
        " this machine."
    )


def former_keys(given: Any) -> str:
    """A former key still opens everything: it must be as good as the present one."""
    for key in given.SECRET_KEY_FALLBACKS:
        if any(known in key.lower() for known in KNOWN_KEYS) or len(key) < SHORTEST_KEY:
            return "SECRET_KEY_FALLBACKS holds a key that is short or that others know. Leave it out."
    if given.SECRET_KEY in given.SECRET_KEY_FALLBACKS:
        return (
            "SECRET_KEY_FALLBACKS holds SECRET_KEY itself. Set SECRET_KEY to a new one, or leave the old out."
        )
    return ""


def is_near(given: Any, host: str) -> bool:
    """Whether nobody is between us and this host: this machine, a socket, or a network said to be private."""
    return not host or host.startswith("/") or is_this_machine(host) or host in given.PRIVATE_HOSTS


def database(given: Any) -> str:
    database = given.DATABASES["default"]
    hosts = str(database.get("HOST") or "").split(",")
    checked = database.get("OPTIONS", {}).get("sslmode") == "verify-full"
    if checked or all(is_near(given, host) for host in hosts):
        return ""
    return (
        "DATABASE_URL reaches another machine without a checked certificate. Use ?sslmode=verify-full,"
        " or name the host in PRIVATE_HOSTS if the network to it is the portal's alone."
    )


def redis(given: Any) -> str:
    parts = urlsplit(given.REDIS_URL)
    # Unless it is asked for, the queue's library checks no certificate.
    asked = parse_qs(parts.query).get("ssl_cert_reqs", [""])[-1].lower().removeprefix("cert_")
    checked = parts.scheme == "rediss" and asked == "required"
    if checked or parts.scheme in ("unix", "redis+socket") or is_near(given, parts.hostname or ""):
        return ""
    return (
        "REDIS_URL reaches another machine without a checked certificate. Use rediss://…?ssl_cert_reqs=required,"
        " or name the host in PRIVATE_HOSTS if the network to it is the portal's alone."
    )


def proxies(given: Any) -> str:
    count = given.ALLAUTH_TRUSTED_PROXY_COUNT
    if "PROXIES" in given.GIVEN and count >= 0:
        return ""
    return (
        "PROXIES is not set. Set it to how many proxies of yours stand before the portal, so that nobody can"
        " pass for another sender with X-Forwarded-For; 0 if the web server itself adds TLS."
    )


def metrics_token(given: Any) -> str:
    if 0 < len(given.METRICS_TOKEN) < SHORTEST_TOKEN:
        return f"METRICS_TOKEN is shorter than {SHORTEST_TOKEN} characters. Set a longer one, or leave it out."
    return ""


def map_tiles(given: Any) -> str:
    if given.MAP_TILES and urlsplit(given.MAP_TILES).scheme != "https":
        return "MAP_TILES must begin with https://, so that nobody on the way sees or changes the maps."
    return ""


def database_role(given: Any) -> str:
    """The rows of one group are kept from another by policies that hold for nobody who owns the tables."""
    if given.AS_DATABASE_OWNER or given.SIGNS_IN_AS_ROLE:
        return ""
    return (
        f"DATABASE_URL must sign in as DATABASE_ROLE ({given.DATABASE_ROLE}), which owns no table. Give the"
        " account that owns them to the commands migrate, backup and restore alone, as DATABASE_OWNER_URL."
    )


def second_factor(given: Any) -> str:
    if given.SECOND_FACTOR == "required":
        return ""
    return "SECOND_FACTOR lets coordinators in with a password alone. Leave it out, or set it to required."


def breached_passwords(given: Any) -> str:
    path = given.BREACHED_PASSWORDS
    # Here and not above: the settings must stand before a module of the portal is read.
    from portal.accounts.signing_in.breached import trouble_with

    if path and (told := trouble_with(path)):
        return f"BREACHED_PASSWORDS names a list that cannot be used: {told}. Name another, or leave it out."
    return ""


RULES: dict[str, Rule] = {
    "DATABASE_ROLE": database_role,
    "SECRET_KEY": secret_key,
    "SECRET_KEY_FALLBACKS": former_keys,
    "DEBUG": debug,
    "DEMO": demo,
    "ALLOWED_HOSTS": allowed_hosts,
    "BASE_URL": base_url,
    "CSRF_TRUSTED_ORIGINS": trusted_origins,
    "EMAIL_URL": mail_server,
    "DATABASE_URL": database,
    "REDIS_URL": redis,
    "PROXIES": proxies,
    "METRICS_TOKEN": metrics_token,
    "MAP_TILES": map_tiles,
    "SECOND_FACTOR": second_factor,
    "BREACHED_PASSWORDS": breached_passwords,
}


def forgotten(given: Any) -> str:
    """What gives a portal for real people away that was not told to be one."""
    if given.DEMO or urlsplit(given.BASE_URL).scheme != "https":
        return ""
    return "BASE_URL is a public address, but PRODUCTION is off, and with it secure cookies. Set PRODUCTION=1."


def dangers(given: Any) -> Iterator[Danger]:
    """Each unsafe setting of a portal for real people; `given` has the attributes of `portal.settings`."""
    rules = RULES if given.PRODUCTION else {"PRODUCTION": forgotten}
    for variable, rule in rules.items():
        if told := rule(given):
            yield Danger(variable, told)


def refuse_unsafe_start() -> None:
    """Raise ImproperlyConfigured with a sentence for each unsafe setting, if there is one."""
    if found := list(dangers(settings)):
        sentences = "\n".join(f"- {each.told}" for each in found)
        raise ImproperlyConfigured(f"The portal does not start, because it would not be safe:\n{sentences}")
