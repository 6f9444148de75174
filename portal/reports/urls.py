"""Addresses of the yearly reports."""

from django.urls import URLPattern, URLResolver, path

from portal.reports import views

ONE = "groups/<slug:slug>/reports/<uuid:report_id>/"

urlpatterns: list[URLPattern | URLResolver] = [
    path("groups/<slug:slug>/reports/", views.report_list, name="report_list"),
    path(ONE, views.report_detail, name="report_detail"),
    path(f"{ONE}file/", views.report_file, name="report_file"),
    path(f"{ONE}publish/", views.report_publish, name="report_publish"),
    path("public/reports/<uuid:report_id>/", views.public_report, name="public_report"),
    path("public/reports/<uuid:report_id>/report.pdf", views.public_report_file, name="public_report_file"),
]
