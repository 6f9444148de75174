"""Static files, and what people send."""

from pathlib import Path

from portal.settings.environment import DEMO, PRODUCTION, STATE_DIR, env

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
