"""The sign-in library's hooks about second factors: words, names, and secrets that are kept encrypted."""

from __future__ import annotations

import base64
import secrets
from typing import Any
from urllib.parse import urlsplit

import qrcode
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.models import Authenticator
from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from django.conf import settings
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from qrcode.image.svg import SvgPathFillImage

PORTAL = "Rifflebook"


class MFAAdapter(DefaultMFAAdapter):  # type: ignore[misc]
    error_messages = DefaultMFAAdapter.error_messages | {
        "incorrect_code": gettext_lazy("This code is wrong or has run out. Type the one that is shown now."),
        "unverified_email": gettext_lazy("Confirm your e-mail address first."),
    }

    def get_totp_issuer(self) -> str:
        return PORTAL

    def build_totp_svg(self, url: str) -> str:
        """Dark on light, as cameras want it, on a page in dark colours too."""
        drawn = qrcode.make(url, image_factory=SvgPathFillImage).to_string()
        return drawn.decode() if isinstance(drawn, bytes) else str(drawn)

    def generate_authenticator_name(self, user: Any, type: Any) -> str:
        """A first guess, which its owner may change."""
        number = Authenticator.objects.filter(user_id=user.pk, type=type).count() + 1
        return _("Passkey %(number)d") % {"number": number}

    def get_public_key_credential_rp_entity(self) -> dict[str, str]:
        """Passkeys belong to the portal's own address, whatever a request says it is called."""
        return {"id": urlsplit(settings.BASE_URL).hostname or "localhost", "name": PORTAL}

    def encrypt(self, text: str) -> str:
        """So that a copy of the database alone makes no codes."""
        return _box().encrypt(text.encode()).decode()

    def decrypt(self, encrypted_text: str) -> str:
        """A secret under a key that is gone matches no code; its owner needs a new factor."""
        try:
            return _box().decrypt(encrypted_text.encode()).decode()
        except InvalidToken:
            return base64.b32encode(secrets.token_bytes(20)).decode()


def _box() -> MultiFernet:
    """Encrypts with the present SECRET_KEY; reads what those of SECRET_KEY_FALLBACKS wrote as well."""
    keys = [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    return MultiFernet([Fernet(base64.urlsafe_b64encode(_digest(key))) for key in keys])


def _digest(key: str) -> bytes:
    return bytes(salted_hmac("accounts.second-factor", b"", secret=key, algorithm="sha256").digest())
