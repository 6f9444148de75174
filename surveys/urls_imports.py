"""Addresses of the spreadsheets."""

from django.urls import path

from surveys.views import import_mapping, import_undo
from surveys.views import imports as views

urlpatterns = [
    path("groups/<slug:slug>/import/", views.import_visits, name="import_visits"),
    path("groups/<slug:slug>/import/template.csv", views.import_template, name="import_template"),
    path("groups/<slug:slug>/import/<uuid:run_id>/", views.import_detail, name="import_detail"),
    path("groups/<slug:slug>/import/<uuid:run_id>/map/", import_mapping.import_map, name="import_map"),
    path("groups/<slug:slug>/import/<uuid:run_id>/errors/", views.import_errors, name="import_errors"),
    path("groups/<slug:slug>/import/<uuid:run_id>/undo/", import_undo.import_undo, name="import_undo"),
    path("groups/<slug:slug>/import/<uuid:run_id>/check/", views.import_check, name="import_check"),
    path("groups/<slug:slug>/import/<uuid:run_id>/load/", views.import_load, name="import_load"),
    path("groups/<slug:slug>/import/<uuid:run_id>/approve/", views.import_approve, name="import_approve"),
]
