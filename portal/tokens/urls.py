"""Addresses of one's own keys."""

from django.urls import path

from portal.tokens import views

urlpatterns = [
    path("account/keys/", views.key_list, name="key_list"),
    path("account/keys/<uuid:key_id>/revoke/", views.key_revoke, name="key_revoke"),
]
