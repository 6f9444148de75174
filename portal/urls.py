"""The site map. URL name = view = service = template = test file."""

from django.urls import include, path

urlpatterns = [
    path("account/", include("allauth.account.urls")),
    path("", include("portal.accounts.urls")),
    path("", include("surveys.urls")),
    path("", include("alerts.urls")),
    path("", include("portal.reports.urls")),
]
