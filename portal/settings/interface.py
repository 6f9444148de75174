"""The programming interface and its schema."""

from django.utils.dates import MONTHS

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
