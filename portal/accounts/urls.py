from django.urls import path

from portal.accounts import views
from portal.accounts.signing_in import views as signing_in

urlpatterns = [
    path("account/telephone/", views.telephone_choose, name="telephone_choose"),
    path("account/language/", views.language_choose, name="language_choose"),
    path("invitations/<str:token>/", views.invitation_accept, name="invitation_accept"),
    path("groups/<slug:slug>/people/", views.people_list, name="people_list"),
    path("groups/<slug:slug>/people/invite/", views.invitation_send, name="invitation_send"),
    path(
        "groups/<slug:slug>/invitations/<uuid:invitation_id>/revoke/",
        views.invitation_revoke,
        name="invitation_revoke",
    ),
    path("groups/<slug:slug>/people/<uuid:membership_id>/", views.membership_change, name="membership_change"),
    path(
        "groups/<slug:slug>/people/<uuid:membership_id>/second-factor/",
        signing_in.factor_reset,
        name="factor_reset",
    ),
    path("groups/<slug:slug>/settings/", views.group_edit, name="group_edit"),
]
