"""Addresses of the yearly reports."""

from django.urls import URLPattern, URLResolver, path

from portal.reports import views

urlpatterns: list[URLPattern | URLResolver] = [
    path("groups/<slug:slug>/reports/", views.report_list, name="report_list"),
    path("groups/<slug:slug>/reports/<uuid:report_id>/", views.report_detail, name="report_detail"),
    path(
        "groups/<slug:slug>/reports/<uuid:report_id>/progress/", views.report_progress, name="report_progress"
    ),
    path("groups/<slug:slug>/reports/<uuid:report_id>/file/", views.report_file, name="report_file"),
    path("groups/<slug:slug>/reports/<uuid:report_id>/publish/", views.report_publish, name="report_publish"),
    path("public/reports/<uuid:report_id>/", views.public_report, name="public_report"),
    path("public/reports/<uuid:report_id>/report.pdf", views.public_report_file, name="public_report_file"),
]
