"""The site map. URL name = view = service = template = test file."""

from django.urls import URLPattern, URLResolver, include, path

from portal.views import demo_inbox, home, service
from portal.views.methods import pages as methods

urlpatterns: list[URLPattern | URLResolver] = [
    path("", home.home, name="home"),
    path("groups/<slug:slug>/", home.group_desk, name="group_desk"),
    path("methods/", methods.methods, name="methods"),
    path("health/", service.health, name="health"),
    path("metrics/", service.metrics, name="metrics"),
    path("developers/style/", service.style_guide, name="style_guide"),
    path("demo/inbox/", demo_inbox.demo_inbox, name="demo_inbox"),
    path("demo/inbox/<str:name>/", demo_inbox.demo_mail, name="demo_mail"),
    path("", include("portal.privacy.urls")),
    path("account/", include("portal.accounts.signing_in.urls")),
    path("", include("portal.accounts.urls")),
    path("", include("portal.tokens.urls")),
    path("", include("portal.audit.urls")),
    path("", include("surveys.urls")),
    path("", include("surveys.people.urls")),
    path("", include("surveys.rota.urls")),
    # Below the surveys' own pages, so that their methods/rules/ is no method's key.
    path("methods/<slug:method_key>/", methods.method_detail, name="method_detail"),
    path("", include("alerts.urls")),
    path("", include("portal.outbox.urls")),
    path("", include("portal.jobs.urls")),
    path("", include("portal.reports.urls")),
    path("", include("portal.public.urls")),
]

handler404 = "portal.views.faults.not_found"
handler500 = "portal.views.faults.server_error"
