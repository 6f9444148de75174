"""A portal for real people refuses to start with an unsafe setting, and says what to set instead."""

from __future__ import annotations

import json
import os
import secrets
import subprocess
import sys
from types import SimpleNamespace
from typing import Any

import pytest
from celery.signals import beat_init, worker_init
from django.conf import LazySettings
from django.core.checks import Tags, run_checks
from django.core.exceptions import ImproperlyConfigured

from portal.embedded.place import PROJECT
from portal.serving.safe_start import RULES, dangers, is_this_machine, refuse_unsafe_start

KEY, FORMER = secrets.token_urlsafe(60), secrets.token_urlsafe(60)
MAIL = {"host": "mail.example", "use_tls": True, "use_ssl": False}
SAFE = {
    "PRODUCTION": True,
    "AS_DATABASE_OWNER": False,
    "SIGNS_IN_AS_ROLE": True,
    "DATABASE_ROLE": "rifflebook_app",
    "GIVEN": {"SECRET_KEY", "PROXIES"},
    "SECRET_KEY": KEY,
    "SECRET_KEY_FALLBACKS": [],
    "PRIVATE_HOSTS": [],
    "DATABASES": {"default": {"HOST": ""}},
    "REDIS_URL": "redis://localhost:6379/0",
    "DEBUG": False,
    "DEMO": False,
    "ALLOWED_HOSTS": ["rivers.example", ".rivers.example"],
    "BASE_URL": "https://rivers.example",
    "CSRF_TRUSTED_ORIGINS": ["https://rivers.example"],
    "OUTBOX_SMTP": MAIL,
    "ALLAUTH_TRUSTED_PROXY_COUNT": 1,
    "METRICS_TOKEN": "",
    "MAP_TILES": "",
    "SECOND_FACTOR": "required",
    "BREACHED_PASSWORDS": "",
}


def database(host: str, **options: str) -> dict[str, Any]:
    return {"DATABASES": {"default": {"HOST": host, "OPTIONS": options}}}


UNSAFE: list[tuple[str, dict[str, Any]]] = [
    ("DATABASE_ROLE", {"SIGNS_IN_AS_ROLE": False}),
    ("SECRET_KEY", {"GIVEN": {"PROXIES"}}),
    ("SECRET_KEY", {"SECRET_KEY": KEY[:49]}),
    ("SECRET_KEY", {"SECRET_KEY": "abcabcabcab" * 6}),
    ("SECRET_KEY", {"SECRET_KEY": "django-insecure-" + KEY}),
    ("SECRET_KEY", {"SECRET_KEY": "ChangeMe" + KEY}),
    ("SECRET_KEY_FALLBACKS", {"SECRET_KEY_FALLBACKS": [KEY]}),
    ("SECRET_KEY_FALLBACKS", {"SECRET_KEY_FALLBACKS": [FORMER, FORMER[:49]]}),
    ("SECRET_KEY_FALLBACKS", {"SECRET_KEY_FALLBACKS": ["django-insecure-" + FORMER]}),
    ("DATABASE_URL", database("db.example")),
    ("DATABASE_URL", database("10.0.0.7", sslmode="require")),
    # Two servers, of which one may be reached.
    ("DATABASE_URL", database("localhost,db.example", sslmode="verify-ca")),
    ("DATABASE_URL", database("postgres") | {"PRIVATE_HOSTS": ["redis"]}),
    ("REDIS_URL", {"REDIS_URL": "redis://queue.example:6379/0"}),
    ("REDIS_URL", {"REDIS_URL": "redis://:secret@10.0.0.7/0"}),
    ("REDIS_URL", {"REDIS_URL": "rediss://queue.example:6379/0"}),
    ("REDIS_URL", {"REDIS_URL": "rediss://queue.example:6379/0?ssl_cert_reqs=none"}),
    ("REDIS_URL", {"REDIS_URL": "rediss://queue.example:6379/0?ssl_cert_reqs=CERT_OPTIONAL"}),
    ("DEBUG", {"DEBUG": True}),
    ("DEMO", {"DEMO": True}),
    ("ALLOWED_HOSTS", {"ALLOWED_HOSTS": ["rivers.example", "*"]}),
    ("ALLOWED_HOSTS", {"ALLOWED_HOSTS": ["*.rivers.example"]}),
    ("ALLOWED_HOSTS", {"ALLOWED_HOSTS": ["."]}),
    ("BASE_URL", {"BASE_URL": "http://rivers.example"}),
    ("BASE_URL", {"BASE_URL": "https://"}),
    ("CSRF_TRUSTED_ORIGINS", {"CSRF_TRUSTED_ORIGINS": ["http://rivers.example"]}),
    ("CSRF_TRUSTED_ORIGINS", {"CSRF_TRUSTED_ORIGINS": ["https://*.example"]}),
    ("EMAIL_URL", {"OUTBOX_SMTP": {**MAIL, "use_tls": False}}),
    ("EMAIL_URL", {"OUTBOX_SMTP": {**MAIL, "use_tls": False, "host": "10.0.0.7"}}),
    ("PROXIES", {"GIVEN": {"SECRET_KEY"}, "ALLAUTH_TRUSTED_PROXY_COUNT": 0}),
    ("PROXIES", {"ALLAUTH_TRUSTED_PROXY_COUNT": -1}),
    ("METRICS_TOKEN", {"METRICS_TOKEN": "t" * 23}),
    ("MAP_TILES", {"MAP_TILES": "http://tiles.example/{z}/{x}/{y}.png"}),
    ("SECOND_FACTOR", {"SECOND_FACTOR": "optional"}),
    ("BREACHED_PASSWORDS", {"BREACHED_PASSWORDS": "/nowhere/digests.txt"}),
    ("BREACHED_PASSWORDS", {"BREACHED_PASSWORDS": __file__}),
    ("PRODUCTION", {"PRODUCTION": False}),
]


def found(**changed: Any) -> list[str]:
    return [each.variable for each in dangers(SimpleNamespace(**SAFE | changed))]


@pytest.mark.parametrize(("variable", "changed"), UNSAFE)
def test_an_unsafe_setting_is_named(variable: str, changed: dict[str, Any]) -> None:
    assert found(**changed) == [variable]


def test_every_rule_has_its_case() -> None:
    assert {variable for variable, _changed in UNSAFE} == {*RULES, "PRODUCTION"}


@pytest.mark.parametrize(("variable", "changed"), UNSAFE)
def test_it_says_what_to_set(variable: str, changed: dict[str, Any]) -> None:
    (danger,) = dangers(SimpleNamespace(**SAFE | changed))
    assert variable in danger.told
    assert any(word in danger.told for word in ("Set ", "Use ", "Name ", "Leave ", "must ", "may "))
    # A log is read by more people than may know the key.
    assert KEY[:20] not in danger.told


def test_safe_settings_are_left_alone() -> None:
    assert found() == []
    assert found(METRICS_TOKEN="t" * 24, MAP_TILES="https://tiles.example/{z}/{x}/{y}.png") == []
    assert found(OUTBOX_SMTP={"host": "127.0.0.1", "use_tls": False, "use_ssl": False}) == []
    assert found(OUTBOX_SMTP={**MAIL, "use_tls": False, "use_ssl": True}) == []
    assert found(ALLAUTH_TRUSTED_PROXY_COUNT=0) == []
    assert found(SECRET_KEY_FALLBACKS=[FORMER]) == []


@pytest.mark.parametrize("host", ["", "/run/postgresql", "localhost", "127.0.0.1", "::1", "postgres"])
def test_a_database_to_which_nobody_can_listen_needs_no_certificate(host: str) -> None:
    assert found(**database(host), PRIVATE_HOSTS=["postgres"]) == []


def test_a_database_elsewhere_shows_its_certificate() -> None:
    assert found(**database("db.example", sslmode="verify-full")) == []


@pytest.mark.parametrize(
    "url",
    [
        "redis://127.0.0.1/0",
        "redis://redis:6379/0",
        "redis+socket:///run/valkey.sock",
        "unix:///run/valkey.sock?db=0",
        "rediss://queue.example:6379/0?ssl_cert_reqs=CERT_REQUIRED",
        "rediss://queue.example:6379/0?ssl_cert_reqs=required",
    ],
)
def test_a_queue_that_nobody_can_read_is_left_alone(url: str) -> None:
    assert found(REDIS_URL=url, PRIVATE_HOSTS=["redis"]) == []


def test_demo_and_development_start_with_anything() -> None:
    loose = {"PRODUCTION": False, "DEBUG": True, "GIVEN": set(), "SECRET_KEY": "x", "ALLOWED_HOSTS": ["*"]}
    assert found(**loose, BASE_URL="http://localhost:8000") == []
    assert found(**loose, DEMO=True) == []


@pytest.mark.parametrize("host", ["localhost", "mail.localhost", "127.0.0.1", "127.9.9.9", "::1"])
def test_this_machine_is_known(host: str) -> None:
    assert is_this_machine(host)


@pytest.mark.parametrize("host", ["mail.example", "10.0.0.7", "localhost.example", "mail", ""])
def test_another_machine_is_none_of_ours(host: str) -> None:
    assert not is_this_machine(host)


@pytest.fixture
def two_mistakes(settings: LazySettings) -> None:
    for name, value in (SAFE | {"DEBUG": True, "ALLOWED_HOSTS": ["*"]}).items():
        # The database stays what it is: that of the tests, behind a socket.
        if name != "DATABASES":
            setattr(settings, name, value)


def test_all_mistakes_are_told_at_once(two_mistakes: None) -> None:
    with pytest.raises(ImproperlyConfigured, match=r"(?s)- DEBUG .*\n- ALLOWED_HOSTS "):
        refuse_unsafe_start()


def test_commands_refuse_by_system_checks(two_mistakes: None) -> None:
    told = [each.id for each in run_checks(tags=[Tags.security]) if str(each.id).startswith("portal.")]
    assert told == ["portal.unsafe_debug", "portal.unsafe_allowed_hosts"]


def test_worker_and_scheduler_end(two_mistakes: None) -> None:
    for signal in (worker_init, beat_init):
        with pytest.raises(SystemExit, match="ALLOWED_HOSTS"):
            signal.send(sender=None)


def in_production(code: str, **changed: str) -> subprocess.CompletedProcess[str]:
    """A Python of its own with the settings of a real portal."""
    given = {"PRODUCTION": "1", "SECRET_KEY": KEY, "BASE_URL": "https://rivers.example", "PROXIES": "1"}
    given["DATABASE_URL"] = "postgres://rifflebook_app@localhost/rifflebook"
    environment = os.environ | given | {"DJANGO_SETTINGS_MODULE": "portal.settings"} | changed
    command = [sys.executable, "-c", code]
    return subprocess.run(
        command, cwd=PROJECT, env=environment, capture_output=True, text=True, timeout=60, check=False
    )


def test_the_web_server_does_not_start() -> None:
    refused = in_production("import portal.wsgi", DEMO="1", PROXIES="")
    assert refused.returncode == 1
    assert "DEMO opens everybody's mail" in refused.stderr
    assert "PROXIES is not set" in refused.stderr


COOKIES = """
import json
from django.conf import settings as s
from portal.wsgi import application
kinds = ("NAME", "SECURE", "HTTPONLY", "SAMESITE")
names = [f"{cookie}_COOKIE_{kind}" for cookie in ("SESSION", "CSRF") for kind in kinds]
names += ["LANGUAGE_COOKIE_NAME", "MESSAGES_COOKIE_NAME", "SECRET_KEY_FALLBACKS"]
names += ["SECURE_SSL_REDIRECT", "SECURE_HSTS_SECONDS", "SECURE_PROXY_SSL_HEADER"]
print(json.dumps({name: getattr(s, name) for name in names}))
"""


def test_with_safe_settings_it_starts_with_guarded_cookies() -> None:
    started = in_production(COOKIES, SECRET_KEY_FALLBACKS=FORMER)
    assert started.returncode == 0, started.stderr
    assert json.loads(started.stdout) == {
        "SESSION_COOKIE_NAME": "__Host-sessionid",
        "SESSION_COOKIE_SECURE": True,
        "SESSION_COOKIE_HTTPONLY": True,
        "SESSION_COOKIE_SAMESITE": "Lax",
        "CSRF_COOKIE_NAME": "__Host-csrftoken",
        "CSRF_COOKIE_SECURE": True,
        "CSRF_COOKIE_HTTPONLY": True,
        "CSRF_COOKIE_SAMESITE": "Lax",
        "LANGUAGE_COOKIE_NAME": "__Host-django_language",
        "MESSAGES_COOKIE_NAME": "__Host-messages",
        "SECRET_KEY_FALLBACKS": [FORMER],
        "SECURE_SSL_REDIRECT": True,
        "SECURE_HSTS_SECONDS": 31_536_000,
        "SECURE_PROXY_SSL_HEADER": ["HTTP_X_FORWARDED_PROTO", "https"],
    }


def test_without_a_proxy_nobody_can_claim_https() -> None:
    started = in_production(COOKIES, PROXIES="0")
    assert json.loads(started.stdout)["SECURE_PROXY_SSL_HEADER"] is None
