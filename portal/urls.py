"""The site map. URL name = view = service = template = test file."""

from django.http import HttpRequest, HttpResponse
from django.urls import include, path


def _later(request: HttpRequest, **kwargs: object) -> HttpResponse:
    return HttpResponse("coming")


urlpatterns = [
    path("", _later, name="home"),
    path("groups/<slug:slug>/", _later, name="group_desk"),
    path("public/<slug:slug>/", _later, name="public_group"),
    path("public/<slug:slug>/sites/<uuid:site_id>/", _later, name="public_site"),
    path("methods/", _later, name="methods"),
    path("health/", _later, name="health"),
    path("developers/style/", _later, name="style_guide"),
    path("demo/inbox/", _later, name="demo_inbox"),
    path("account/", include("allauth.account.urls")),
    path("", include("portal.accounts.urls")),
    path("", include("surveys.urls")),
    path("", include("alerts.urls")),
    path("", include("portal.outbox.urls")),
    path("", include("portal.reports.urls")),
]
