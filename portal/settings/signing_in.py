"""Who may sign in, how, and for how long: passwords, second factors, sessions."""

from datetime import timedelta

from portal.settings.environment import DEMO, env

AUTH_USER_MODEL = "accounts.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 15}},
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("name", "email")},
    },
    {"NAME": "portal.accounts.signing_in.passwords.NotCommonValidator"},
    {"NAME": "portal.accounts.signing_in.passwords.OwnWordsValidator"},
    {"NAME": "portal.accounts.signing_in.passwords.BreachedListValidator"},
]
# A file of leaked passwords' SHA-1 digests, in order, one a line; empty: none is looked through.
BREACHED_PASSWORDS: str = env.str("BREACHED_PASSWORDS", default="")
# Of coordinators and operators: "required" or "optional". In a demo people look around without a phone.
SECOND_FACTOR: str = env.str("SECOND_FACTOR", default="optional" if DEMO else "required")
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "home"
ACCOUNT_LOGOUT_REDIRECT_URL = "home"
ACCOUNT_ADAPTER = "portal.accounts.adapter.AccountAdapter"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_EMAIL_VERIFICATION = "optional"
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_EMAIL_NOTIFICATIONS = True
ACCOUNT_REAUTHENTICATION_REQUIRED = True
# Not by a code in a mail: whoever reads somebody's mail would need nothing else.
ACCOUNT_REAUTHENTICATION_METHODS = ("password", "mfa")
ACCOUNT_REAUTHENTICATION_TIMEOUT = 600
ACCOUNT_MAX_EMAIL_ADDRESSES = 5
MFA_ADAPTER = "portal.accounts.signing_in.mfa_adapter.MFAAdapter"
MFA_SUPPORTED_TYPES = ["webauthn", "totp", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
# The clock of a phone may be half a minute off.
MFA_TOTP_TOLERANCE = 1
MFA_RECOVERY_CODES_SHOW_ONCE = True
# The library fears accounts of strangers who never confirm an address; here every account was invited.
MFA_ALLOW_UNVERIFIED_EMAIL = True
MFA_FORMS = {
    "add_webauthn": "portal.accounts.signing_in.forms.AddPasskeyForm",
    "edit_webauthn": "portal.accounts.signing_in.forms.NamePasskeyForm",
    "authenticate_webauthn": "portal.accounts.signing_in.forms.PasskeyForm",
    "login_webauthn": "portal.accounts.signing_in.forms.PasskeyAloneForm",
    "reauthenticate_webauthn": "portal.accounts.signing_in.forms.PasskeyAgainForm",
    "activate_totp": "portal.accounts.signing_in.forms.ActivateCodesForm",
    "authenticate": "portal.accounts.signing_in.forms.CodeForm",
    "reauthenticate": "portal.accounts.signing_in.forms.CodeAgainForm",
}
ACCOUNT_FORMS = {
    "login": "portal.accounts.signing_in.forms.SignInForm",
    "reset_password": "portal.accounts.signing_in.forms.AskForLinkForm",
    "add_email": "portal.accounts.signing_in.forms.FurtherAddressForm",
    "change_password": "portal.accounts.signing_in.forms.NewPasswordForm",
    "set_password": "portal.accounts.signing_in.forms.FirstPasswordForm",
    "reset_password_from_key": "portal.accounts.signing_in.forms.ForgottenPasswordForm",
}
# Two weeks from the sign-in, however busy: volunteers go out without a network and come back days later.
SESSION_COOKIE_AGE = 14 * 86_400
# As a span of time it ends at a fixed moment; as a number every change of the session would begin it anew.
ACCOUNT_SESSION_COOKIE_AGE = timedelta(seconds=SESSION_COOKIE_AGE)
# And a week without use: longer than an expedition, shorter than a phone lies forgotten in a tent.
SESSION_IDLE_DAYS = 7
