"""The WSGI entry point, served by gunicorn."""

import os

from django.core.wsgi import get_wsgi_application

from portal.serving.safe_start import refuse_unsafe_start
from portal.serving.tracing import trace_if_asked

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")

refuse_unsafe_start()
trace_if_asked("web")
application = get_wsgi_application()
