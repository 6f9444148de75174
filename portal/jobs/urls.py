"""Addresses of the long work."""

from django.urls import URLPattern, URLResolver, include, path

from portal.jobs import views

job_pages: list[URLPattern | URLResolver] = [
    path("", views.job_detail, name="job_detail"),
    path("progress/", views.job_progress, name="job_progress"),
    path("stop/", views.job_stop, name="job_stop"),
    path("file/", views.job_file, name="job_file"),
]
group_pages: list[URLPattern | URLResolver] = [
    path("work/", views.job_list, name="job_list"),
    path("work/<uuid:job_id>/", include(job_pages)),
]
urlpatterns: list[URLPattern | URLResolver] = [path("groups/<slug:slug>/", include(group_pages))]
