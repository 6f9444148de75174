"""Addresses below account/: those of the sign-in library that this portal uses, and no others."""

from allauth.account import views as account
from allauth.mfa.base import views as factors
from django.urls import include, path, re_path

from portal.accounts.signing_in import views

urlpatterns = [
    path("login/", account.login, name="account_login"),
    path("logout/", account.logout, name="account_logout"),
    path("inactive/", account.account_inactive, name="account_inactive"),
    path("signup/", account.signup, name="account_signup"),
    path("reauthenticate/", account.reauthenticate, name="account_reauthenticate"),
    path("email/", views.account_email, name="account_email"),
    path("email/agree/<str:token>/", views.address_agree, name="account_address_agree"),
    path("confirm-email/", account.email_verification_sent, name="account_email_verification_sent"),
    re_path(r"^confirm-email/(?P<key>[-:\w]+)/$", account.confirm_email, name="account_confirm_email"),
    path("password/change/", account.password_change, name="account_change_password"),
    path("password/set/", account.password_set, name="account_set_password"),
    path("password/reset/", account.password_reset, name="account_reset_password"),
    path("password/reset/done/", account.password_reset_done, name="account_reset_password_done"),
    path(
        "password/reset/key/done/",
        account.password_reset_from_key_done,
        name="account_reset_password_from_key_done",
    ),
    re_path(
        r"^password/reset/key/(?P<uidb36>[0-9A-Za-z]+)-(?P<key>.+)/$",
        account.password_reset_from_key,
        name="account_reset_password_from_key",
    ),
    path("second-factor/", views.second_factor_page, name="mfa_index"),
    path("second-factor/authenticate/", factors.authenticate, name="mfa_authenticate"),
    path("second-factor/reauthenticate/", factors.reauthenticate, name="mfa_reauthenticate"),
    path("second-factor/code/", include("allauth.mfa.totp.urls")),
    path("second-factor/recovery/", include("allauth.mfa.recovery_codes.urls")),
    path("second-factor/passkeys/", include("allauth.mfa.webauthn.urls")),
    path("sessions/", views.session_list, name="session_list"),
]
