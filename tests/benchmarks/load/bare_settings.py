"""Django by itself on the portal's database: what a new project has, and one view."""

from portal.settings import *  # noqa: F403

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    # The sign-in library does not start without it; it costs next to nothing.
    "allauth.account.middleware.AccountMiddleware",
]
ROOT_URLCONF = "tests.benchmarks.load.bare_site"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "OPTIONS": {
            "context_processors": ["django.template.context_processors.request"],
            "loaders": [
                (
                    "django.template.loaders.cached.Loader",
                    ["tests.benchmarks.load.bare_site.OneTemplate"],
                )
            ],
        },
    }
]
