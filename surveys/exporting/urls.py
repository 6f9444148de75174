"""Addresses of exporting."""

from django.urls import path

from surveys.exporting import views

urlpatterns = [
    path("groups/<slug:slug>/export/", views.export_make, name="export_make"),
    path("groups/<slug:slug>/export/archive/", views.archive_make, name="archive_make"),
    path("groups/<slug:slug>/export/terms/", views.publishing_terms, name="publishing_terms"),
]
