"""Addresses of the yearly reports."""

from django.urls import URLPattern, URLResolver, path

from portal.reports import picture_views, views

ONE = "groups/<slug:slug>/reports/<uuid:report_id>/"

urlpatterns: list[URLPattern | URLResolver] = [
    path("groups/<slug:slug>/reports/", views.report_list, name="report_list"),
    path("groups/<slug:slug>/reports/picture/", picture_views.report_picture, name="report_picture"),
    path(
        "groups/<slug:slug>/reports/picture/remove/",
        picture_views.report_picture_remove,
        name="report_picture_remove",
    ),
    path(
        "groups/<slug:slug>/reports/picture/file/",
        picture_views.report_picture_file,
        name="report_picture_file",
    ),
    path(ONE, views.report_detail, name="report_detail"),
    path(f"{ONE}file/", views.report_file, name="report_file"),
    path(f"{ONE}words/", views.report_words, name="report_words"),
    path(f"{ONE}publish/", views.report_publish, name="report_publish"),
    path("public/reports/<uuid:report_id>/", views.public_report, name="public_report"),
    path("public/reports/<uuid:report_id>/report.pdf", views.public_report_file, name="public_report_file"),
    path(
        "public/reports/<uuid:report_id>/figures.json",
        views.public_report_figures,
        name="public_report_figures",
    ),
    path("id/<str:identifier>/", views.report_by_identifier, name="report_by_identifier"),
]
