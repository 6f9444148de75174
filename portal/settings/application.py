"""What the portal is put together from: apps, middleware, templates, forms."""

from portal.settings.environment import BASE_DIR

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
    "portal.views.faults.WrongMethodMiddleware",
]

ROOT_URLCONF, WSGI_APPLICATION = "portal.urls", "portal.wsgi.application"
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
            "builtins": ["portal.templatetags.quick_parts"],
        },
    }
]
FORM_RENDERER = "portal.form_controls.QuickControls"
