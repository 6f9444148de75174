"""Who gets what answer at the sign-in library's own addresses; the rest of the one table."""

from __future__ import annotations

from collections.abc import Mapping

from tests.access.policies import HIDDEN, OPEN, SIGNED_IN, Methods, form, page, policy

# Who has the second factor in question; what is another's is not even told to exist.
#                          nobody volunteer coordinator involved neighbour contact former inactive operator
HOLDER = policy("           login  404       ok          404      404       404     404    login    404", "404")

# The sign-in library's own addresses: what it serves to whom. Other methods are its affair.
ACCOUNT_TABLE: Mapping[str, Methods] = {
    "account_login": form(OPEN),
    "account_logout": form(OPEN),
    "account_inactive": page(OPEN),
    "account_signup": form(OPEN),
    "account_reauthenticate": form(SIGNED_IN),
    "account_email": form(SIGNED_IN),
    "account_email_verification_sent": page(OPEN),
    "account_change_password": form(SIGNED_IN),
    "account_set_password": form(SIGNED_IN),
    "account_reset_password": form(OPEN),
    "account_confirm_email": {**page(OPEN), "post": HIDDEN},
    "account_reset_password_from_key": form(OPEN),
    "account_reset_password_from_key_done": page(OPEN),
    "account_reset_password_done": page(OPEN),
    "mfa_authenticate": form(OPEN),
    "mfa_login_webauthn": form(OPEN),
    "mfa_reauthenticate": form(SIGNED_IN),
    "mfa_reauthenticate_webauthn": form(SIGNED_IN),
    "mfa_activate_totp": form(SIGNED_IN),
    "mfa_deactivate_totp": form(HOLDER),
    "mfa_list_webauthn": page(SIGNED_IN),
    "mfa_add_webauthn": form(SIGNED_IN),
    "mfa_edit_webauthn": form(HOLDER),
    "mfa_remove_webauthn": form(HOLDER),
    "mfa_view_recovery_codes": page(HOLDER),
    "mfa_download_recovery_codes": page(HOLDER),
    "mfa_generate_recovery_codes": form(SIGNED_IN),
}
