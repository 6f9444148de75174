"""Addresses of the spreadsheets."""

from django.urls import path

from surveys.views import imports as views

urlpatterns = [
    path("groups/<slug:slug>/import/", views.import_visits, name="import_visits"),
    path("groups/<slug:slug>/import/template.csv", views.import_template, name="import_template"),
    path("groups/<slug:slug>/import/<uuid:run_id>/", views.import_detail, name="import_detail"),
    path("groups/<slug:slug>/import/<uuid:run_id>/load/", views.import_load, name="import_load"),
    path("groups/<slug:slug>/import/<uuid:run_id>/approve/", views.import_approve, name="import_approve"),
]
