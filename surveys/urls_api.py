"""Addresses of the programming interface."""

from django.urls import path
from drf_spectacular.views import SpectacularAPIView

from surveys.api import photos, views

urlpatterns = [
    path("api/schema/", SpectacularAPIView.as_view(), name="api_schema"),
    path("api/v1/groups/", views.ApiGroups.as_view(), name="api_groups"),
    path("api/v1/groups/<slug:slug>/sites/", views.ApiSites.as_view(), name="api_sites"),
    path("api/v1/groups/<slug:slug>/lists/", views.ApiLists.as_view(), name="api_lists"),
    path("api/v1/groups/<slug:slug>/visits/", views.ApiVisits.as_view(), name="api_visits"),
    path("api/v1/groups/<slug:slug>/visits/<uuid:number>/", views.ApiVisit.as_view(), name="api_visit"),
    path(
        "api/v1/groups/<slug:slug>/visits/<uuid:number>/photos/<uuid:photo_number>/",
        photos.ApiVisitPhoto.as_view(),
        name="api_visit_photo",
    ),
]
