"""Settings of the portal: everything that differs between machines comes from the environment.

DATABASE_URL, REDIS_URL, EMAIL_URL and SECRET_KEY are read with django-environ; README.md holds the whole table.
"""

import os
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlsplit

import django_stubs_ext
import environ
from csp.constants import NONE, SELF
from django.utils.dates import MONTHS

from portal.embedded.valkey import client_address

# Lets generic classes such as ModelForm[Site] be written at run time as the type checker reads them.
django_stubs_ext.monkeypatch()

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

DEBUG: bool = env.bool("DEBUG", default=False)
DEMO: bool = env.bool("DEMO", default=False)
STATE_DIR = Path(env.str("PORTAL_STATE_DIR", default=str(BASE_DIR / "var")))


def local_secret_key(folder: Path) -> str:
    """A key of this checkout alone, so that commands work with no set-up; a deployment gives SECRET_KEY."""
    from django.core.management.utils import get_random_secret_key

    place = folder / "secret-key"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with open(place, "x", opener=lambda path, flags: os.open(path, flags, 0o600)) as file:
            file.write(get_random_secret_key())
    except FileExistsError:
        pass
    return place.read_text()


def hosts_of(tiles: str) -> list[str]:
    """Scheme and host that pictures may come from besides the portal: those of the tile server, if any."""
    parts = urlsplit(tiles)
    return [f"{parts.scheme}://{parts.netloc}"] if parts.netloc else []


# What somebody has set, rather than what we fell back on.
GIVEN = frozenset(name for name in ("SECRET_KEY", "PROXIES") if os.environ.get(name))
SECRET_KEY: str = env.str("SECRET_KEY", default="") or local_secret_key(STATE_DIR)
# Former keys: nothing new is signed with them, but sessions and links that were still work.
SECRET_KEY_FALLBACKS: list[str] = env.list("SECRET_KEY_FALLBACKS", default=[])
PRODUCTION: bool = env.bool("PRODUCTION", default=False)
ALLOWED_HOSTS: list[str] = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS: list[str] = env.list("CSRF_TRUSTED_ORIGINS", default=[])
# A request that no thread had time for in so many seconds is refused (503); 0: none is.
LONGEST_WAIT: float = env.float("LONGEST_WAIT", default=8.0)
# What takes longer is logged, ms; 0: nothing is.
SLOW_QUERY_MS: float = env.float("SLOW_QUERY_MS", default=500.0)
SLOW_TASK_MS: float = env.float("SLOW_TASK_MS", default=30_000.0)
# Whoever collects figures shows this; without it there is no page of figures.
METRICS_TOKEN: str = env.str("METRICS_TOKEN", default="")
BASE_URL: str = env.str("BASE_URL", default="http://localhost:8000").rstrip("/")

INSTALLED_APPS = [
    "portal",
    "portal.privacy",
    "portal.public",
    "portal.reports",
    "alerts",
    "surveys",
    "surveys.exporting",
    "surveys.people",
    "surveys.rota",
    "portal.accounts",
    "portal.outbox",
    "portal.jobs",
    "portal.tokens",
    "portal.audit",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.sitemaps",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "django_htmx",
    "rest_framework",
    "drf_spectacular",
    "csp",
]

MIDDLEWARE = [
    "portal.serving.slowness.PlaceMiddleware",
    "portal.accounts.middleware.WallMiddleware",
    # Before all that may answer by itself: its answers carry the headers as well.
    "portal.serving.headers.SafeHeadersMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    # Behind what costs nothing, before all that asks the database.
    "portal.serving.overload.OverloadMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "portal.accounts.signing_in.sessions.SessionUseMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    # In the place of Django's own, which knows no accounts.
    "portal.accounts.languages.ReaderLanguageMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "portal.audit.middleware.OriginMiddleware",
    "portal.accounts.middleware.PersonMiddleware",
    "portal.accounts.signing_in.gate.SecondFactorMiddleware",
    "portal.views.unwritable.UnwritableMiddleware",
]

ROOT_URLCONF, WSGI_APPLICATION = "portal.urls", "portal.wsgi.application"
SILENCED_SYSTEM_CHECKS = ["templates.W003"]  # Our "i18n" stands in for Django's, see "libraries".
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "portal.context.shell",
            ],
            "builtins": ["portal.templatetags.quick_addresses", "portal.templatetags.quick_parts"],
            "libraries": {"i18n": "portal.templatetags.quick_words"},
        },
    }
]
FORM_RENDERER = "portal.form_controls.QuickControls"

# Hosts on a network of the portal's own, to which TLS is not asked for.
PRIVATE_HOSTS: list[str] = env.list("PRIVATE_HOSTS", default=[])
# Web server, worker and scheduler work as this role, which owns no table, so that policies hold for
# them: DATABASE_URL signs in as it, or as somebody who then steps down to it.
DATABASES = {"default": env.db("DATABASE_URL", default="postgres:///rifflebook")}
DATABASE_ROLE: str = env.str("DATABASE_ROLE", default="rifflebook_app")
SIGNS_IN_AS_ROLE: bool = DATABASES["default"]["USER"] == DATABASE_ROLE
DATABASE_ROLE_PASSWORD: str = DATABASES["default"]["PASSWORD"] if SIGNS_IN_AS_ROLE else ""
# `manage.py` says so for the commands that need the owner of the tables: migrate, backup, restore.
AS_DATABASE_OWNER: bool = os.environ.get("AS_DATABASE_OWNER") == "1"
if AS_DATABASE_OWNER:
    _given = env.str("DATABASE_URL", default="postgres:///rifflebook")
    DATABASES = {"default": env.db("DATABASE_OWNER_URL", default=_given)}
# Django's PostgreSQL, which tells the database before each query whose rows may come out.
DATABASES["default"]["ENGINE"] = "portal.accounts.walled"
# A pool, because opening a PostgreSQL connection costs more than most of the portal's pages.
# A pooled connection may have died with a restarted database: tested when it is handed out.
DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
DATABASES["default"]["OPTIONS"] = {
    **DATABASES["default"].get("OPTIONS", {}),
    **({} if AS_DATABASE_OWNER or SIGNS_IN_AS_ROLE else {"assume_role": DATABASE_ROLE}),
    "pool": {"min_size": 1, "max_size": env.int("DATABASE_POOL_SIZE", default=8), "timeout": 5},
}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

REDIS_URL: str = env.str("REDIS_URL", default="redis://localhost:6379/0")
# All processes share drawings where there is a Redis; `alerts/drawn_once.py` does without one that is down.
_shared = {
    "BACKEND": "django.core.cache.backends.redis.RedisCache",
    "LOCATION": client_address(REDIS_URL),
    "OPTIONS": {"serializer": "alerts.drawn_once.AsBytes", "socket_timeout": 1},
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
CELERY_BROKER_URL = REDIS_URL
CELERY_TASK_ACKS_LATE = CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_IGNORE_RESULT = True
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 600, "socket_connect_timeout": 2}
# A nudge must never hold a page up: when the broker is gone the sweep delivers instead.
CELERY_TASK_PUBLISH_RETRY = False
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULER = "portal.outbox.scheduler:SteadyScheduler"
CELERY_BEAT_SCHEDULE = {
    "deliver-owed-messages": {"task": "portal.outbox.tasks.sweep_outbox", "schedule": 10.0},
    "watch-incidents": {"task": "alerts.tasks.watch_incidents", "schedule": 60.0},
    "watch-repeats": {"task": "alerts.tasks.watch_repeat_visits", "schedule": 60.0},
    "watch-safe-returns": {"task": "surveys.tasks.watch_safe_returns", "schedule": 30.0},
    "let-go": {"task": "portal.privacy.tasks.let_go", "schedule": 3600.0},
    "remind-of-trainings": {"task": "surveys.people.tasks.remind_of_lapsing", "schedule": 3600.0},
    "remind-of-visits": {"task": "rota.tasks.remind", "schedule": 600.0},
    "clear-old-sheets": {"task": "surveys.tasks.clear_old_sheets", "schedule": 3600.0},
    "keep-open-data": {"task": "portal.public.tasks.keep_open_data", "schedule": 300.0},
    "seal-trail": {"task": "portal.audit.tasks.seal_trail", "schedule": 60.0},
    "resume-jobs": {"task": "portal.jobs.tasks.resume_jobs", "schedule": 60.0},
}

# Whatever sends mail through Django writes an outbox row; only the outbox worker speaks SMTP.
EMAIL_BACKEND = "portal.outbox.backend.OutboxBackend"
_mail = env.email_url("EMAIL_URL", default="smtp://localhost:1025")
OUTBOX_SMTP = {
    "host": _mail["EMAIL_HOST"],
    "port": _mail["EMAIL_PORT"],
    "username": _mail["EMAIL_HOST_USER"],
    "password": _mail["EMAIL_HOST_PASSWORD"],
    "use_tls": _mail.get("EMAIL_USE_TLS", False),
    "use_ssl": _mail.get("EMAIL_USE_SSL", False),
    # smtp://host:port?timeout=20&lines=4: seconds to wait for each answer; a worker's lines while much is owed.
    "timeout": _mail.get("OPTIONS", {}).get("TIMEOUT", 20),
    "lines": _mail.get("OPTIONS", {}).get("LINES", 4),
}
# Where "show on a map" in alerts leads; {lat} and {lon} are WGS84 degrees.
MAP_LINK: str = env.str("MAP_LINK", "https://www.openstreetmap.org/?mlat={lat}&mlon={lon}#map=16/{lat}/{lon}")
# Pictures below the maps of sites: an address with {z}, {x} and {y}, and whom to name. Empty: none are fetched.
MAP_TILES: str = env.str("MAP_TILES", default="")
MAP_TILES_ATTRIBUTION: str = env.str("MAP_TILES_ATTRIBUTION", default="")
DEFAULT_FROM_EMAIL: str = env.str("FROM_EMAIL", default="Rifflebook <portal@rifflebook.example>")

AUTH_USER_MODEL = "accounts.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 15}},
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("name", "email")},
    },
    {"NAME": "portal.accounts.signing_in.passwords.NotCommonValidator"},
    {"NAME": "portal.accounts.signing_in.passwords.OwnWordsValidator"},
    {"NAME": "portal.accounts.signing_in.passwords.BreachedListValidator"},
]
# A file of leaked passwords' SHA-1 digests, in order, one a line; empty: none is looked through.
BREACHED_PASSWORDS: str = env.str("BREACHED_PASSWORDS", default="")
# Of coordinators and operators: "required" or "optional". In a demo people look around without a phone.
SECOND_FACTOR: str = env.str("SECOND_FACTOR", default="optional" if DEMO else "required")
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "home"
ACCOUNT_LOGOUT_REDIRECT_URL = "home"
ACCOUNT_ADAPTER = "portal.accounts.adapter.AccountAdapter"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_EMAIL_VERIFICATION = "optional"
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_EMAIL_NOTIFICATIONS = True
ACCOUNT_REAUTHENTICATION_REQUIRED = True
# Not by a code in a mail: whoever reads somebody's mail would need nothing else.
ACCOUNT_REAUTHENTICATION_METHODS = ("password", "mfa")
ACCOUNT_REAUTHENTICATION_TIMEOUT = 600
ACCOUNT_MAX_EMAIL_ADDRESSES = 5
MFA_ADAPTER = "portal.accounts.signing_in.mfa_adapter.MFAAdapter"
MFA_SUPPORTED_TYPES = ["webauthn", "totp", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
# The clock of a phone may be half a minute off.
MFA_TOTP_TOLERANCE = 1
MFA_RECOVERY_CODES_SHOW_ONCE = True
# The library fears accounts of strangers who never confirm an address; here every account was invited.
MFA_ALLOW_UNVERIFIED_EMAIL = True
MFA_FORMS = {
    "add_webauthn": "portal.accounts.signing_in.forms.AddPasskeyForm",
    "edit_webauthn": "portal.accounts.signing_in.forms.NamePasskeyForm",
    "authenticate_webauthn": "portal.accounts.signing_in.forms.PasskeyForm",
    "login_webauthn": "portal.accounts.signing_in.forms.PasskeyAloneForm",
    "reauthenticate_webauthn": "portal.accounts.signing_in.forms.PasskeyAgainForm",
    "activate_totp": "portal.accounts.signing_in.forms.ActivateCodesForm",
    "authenticate": "portal.accounts.signing_in.forms.CodeForm",
    "reauthenticate": "portal.accounts.signing_in.forms.CodeAgainForm",
}
ACCOUNT_FORMS = {
    "change_password": "portal.accounts.signing_in.forms.NewPasswordForm",
    "set_password": "portal.accounts.signing_in.forms.FirstPasswordForm",
    "reset_password_from_key": "portal.accounts.signing_in.forms.ForgottenPasswordForm",
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "portal.tokens.authentication.KeyAuthentication",
        "surveys.api.sessions.PortalSession",
    ],
    "DEFAULT_PERMISSION_CLASSES": [
        "rest_framework.permissions.IsAuthenticated",
        "portal.tokens.authentication.HasScope",
    ],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "DEFAULT_PAGINATION_CLASS": "rest_framework.pagination.LimitOffsetPagination",
    "PAGE_SIZE": 50,
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Rifflebook",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    # Several fields share these answers, or their name; without one of their own the schema would make one up.
    "ENUM_NAME_OVERRIDES": {
        "WeatherEnum": "surveys.models.visits.Weather",
        "MonthEnum": list(MONTHS.items()),
        "VerdictOutcomeEnum": "alerts.models.triggers.Verdict.Outcome",
    },
}

LANGUAGE_CODE = "en-gb"
# By their own names, as whoever looks for theirs reads them.
LANGUAGES = [("en-gb", "English"), ("de", "Deutsch")]
LOCALE_PATHS = [BASE_DIR / "portal" / "locale"]
FORMAT_MODULE_PATH = ["portal.formats"]
LANGUAGE_COOKIE_AGE = 365 * 86_400
TIME_ZONE: str = env.str("TIME_ZONE", default="Europe/London")
USE_I18N = True
USE_TZ = True

STATIC_URL = "/static/"
STATIC_ROOT = Path(env.str("STATIC_ROOT", default=str(STATE_DIR / "static")))
MEDIA_ROOT = Path(env.str("MEDIA_ROOT", default=str(STATE_DIR / "media")))
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "portal.serving.static_files.HashedStaticFiles"
        if PRODUCTION or DEMO
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2000
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * 1024 * 1024

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
# Two weeks from the sign-in, however busy: volunteers go out without a network and come back days later.
SESSION_COOKIE_AGE = 14 * 86_400
# As a span of time it ends at a fixed moment; as a number every change of the session would begin it anew.
ACCOUNT_SESSION_COOKIE_AGE = timedelta(seconds=SESSION_COOKIE_AGE)
# And a week without use: longer than an expedition, shorter than a phone lies forgotten in a tent.
SESSION_IDLE_DAYS = 7
SESSION_ENGINE = "portal.accounts.signing_in.session_rows"
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = PRODUCTION
# A browser takes "__Host-" only over HTTPS from this very host: no other site of the domain can plant one.
_HOST = "__Host-" if PRODUCTION else ""
SESSION_COOKIE_NAME = f"{_HOST}sessionid"
CSRF_COOKIE_NAME = f"{_HOST}csrftoken"
LANGUAGE_COOKIE_NAME = f"{_HOST}django_language"
MESSAGES_COOKIE_NAME = f"{_HOST}messages"
MESSAGE_STORAGE = "portal.serving.passing_messages.PassingMessages"
DEVICE_COOKIE_NAME = f"{_HOST}known_device"
SECURE_SSL_REDIRECT = PRODUCTION
# Anybody can write X-Forwarded-For; only as many of its last entries as there are proxies of ours are believed.
ALLAUTH_TRUSTED_PROXY_COUNT: int = int(env.str("PROXIES", default="") or 0)
_is_proxied = PRODUCTION and ALLAUTH_TRUSTED_PROXY_COUNT > 0
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if _is_proxied else None
SECURE_HSTS_SECONDS = 31_536_000 if PRODUCTION else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = PRODUCTION

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"without_tokens": {"()": "portal.serving.log_lines.WithoutTokens"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "filters": ["without_tokens"]}},
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", default="INFO")},
    # Both tell of every step of every page they set.
    "loggers": {"weasyprint": {"level": "ERROR"}, "fontTools": {"level": "ERROR"}},
}
