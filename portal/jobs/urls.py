"""Addresses of the long work."""

from django.urls import URLPattern, URLResolver, path

from portal.jobs import views

ONE = "groups/<slug:slug>/work/<uuid:job_id>/"

urlpatterns: list[URLPattern | URLResolver] = [
    path("groups/<slug:slug>/work/", views.job_list, name="job_list"),
    path(ONE, views.job_detail, name="job_detail"),
    path(f"{ONE}progress/", views.job_progress, name="job_progress"),
    path(f"{ONE}stop/", views.job_stop, name="job_stop"),
    path(f"{ONE}file/", views.job_file, name="job_file"),
]
