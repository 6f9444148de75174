"""Addresses of the pages about what is kept of people."""

from django.urls import URLPattern, URLResolver, path

from portal.privacy import views

urlpatterns: list[URLPattern | URLResolver] = [
    path("privacy/", views.privacy_page, name="privacy_page"),
    path("account/data/", views.own_data, name="own_data"),
    path("account/data/<uuid:job_id>/", views.own_data_file, name="own_data_file"),
    path("account/erase/", views.erasure_ask, name="erasure_ask"),
    # Behind a signed link, whose holder need not be signed in.
    path("erasure/<str:token>/", views.erasure_stop, name="erasure_stop"),
    path("groups/<slug:slug>/people/<uuid:membership_id>/erase/", views.person_erase, name="person_erase"),
    path("groups/<slug:slug>/settings/keeping/", views.keeping_terms, name="keeping_terms"),
]
