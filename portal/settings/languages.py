"""Languages and the clock."""

from portal.settings.environment import BASE_DIR, env

LANGUAGE_CODE = "en-gb"
# By their own names, as whoever looks for theirs reads them.
LANGUAGES = [("en-gb", "English"), ("de", "Deutsch")]
LOCALE_PATHS = [BASE_DIR / "portal" / "locale"]
FORMAT_MODULE_PATH = ["portal.formats"]
LANGUAGE_COOKIE_AGE = 365 * 86_400
TIME_ZONE: str = env.str("TIME_ZONE", default="Europe/London")
USE_I18N = True
USE_TZ = True
