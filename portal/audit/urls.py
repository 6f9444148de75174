from django.urls import path

from portal.audit import views

urlpatterns = [
    path("account/trail/", views.account_trail, name="account_trail"),
    path("groups/<slug:slug>/trail/", views.group_trail, name="group_trail"),
    path("operating/trail/", views.portal_trail, name="portal_trail"),
]
