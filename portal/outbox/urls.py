from django.urls import path

from portal.outbox import views

urlpatterns = [
    path("groups/<slug:slug>/messages/", views.message_list, name="message_list"),
    path("groups/<slug:slug>/messages/try-again/", views.messages_retry, name="messages_retry"),
]
