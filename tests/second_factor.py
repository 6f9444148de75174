"""Sessions of tests are made with a second factor, as coordinators need it; and sessions without one."""

from __future__ import annotations

import base64
import hmac
import struct
import time
from collections.abc import Callable, Iterator, MutableMapping
from contextlib import contextmanager
from hashlib import sha256
from typing import Any

import pytest
from allauth.account.authentication import AUTHENTICATION_METHODS_SESSION_KEY
from allauth.account.internal.flows.login import _AUTHENTICATION_METHODS_USER_SESSION_KEY
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from allauth.mfa.webauthn.internal.auth import WebAuthn
from cryptography.hazmat.primitives.asymmetric import ec
from django.test import Client
from django.utils import timezone
from fido2.cose import ES256, CoseKey
from fido2.utils import websafe_encode
from fido2.webauthn import Aaguid, AttestationObject, AttestedCredentialData, AuthenticatorData

from portal.accounts.models import User
from portal.accounts.signing_in.sessions import SEEN

PASSWORD_ONLY = [{"method": "password"}]
WITH_FACTOR = [*PASSWORD_ONLY, {"method": "mfa", "type": "totp"}]
_real_login: Any = Client._login  # type: ignore[attr-defined]


def mark(session: MutableMapping[str, Any], user: User, methods: list[dict[str, str]] = WITH_FACTOR) -> None:
    """As if the person had just signed in so, and used the session today."""
    now = {"at": time.time(), "reauthenticated": True}
    session[AUTHENTICATION_METHODS_SESSION_KEY] = [each | now for each in methods]
    session[_AUTHENTICATION_METHODS_USER_SESSION_KEY] = str(user.pk)
    session[SEEN] = timezone.localdate().isoformat()


def _login(client: Client, user: User, backend: str | None = None) -> None:
    _real_login(client, user, backend)
    session: Any = client.session
    mark(session, user)
    session.save()


def sign_in_with_factor(patch: pytest.MonkeyPatch) -> None:
    """From here on `client.force_login` makes such sessions."""
    patch.setattr(Client, "_login", _login)


def with_password_only(client: Client, user: User) -> Client:
    """The client, signed in without a second factor."""
    client.force_login(user)
    session: Any = client.session
    mark(session, user, PASSWORD_ONLY)
    session.save()
    return client


def long_signed_in(client: Client) -> None:
    """As if the person had last shown an hour ago that it is them."""
    session: Any = client.session
    for record in session[AUTHENTICATION_METHODS_SESSION_KEY]:
        record["at"] -= 3600
    session.save()


def code_of(secret: str, *, steps: int = 0) -> str:
    """The six digits that an app shows for this key `steps` later than now (RFC 6238)."""
    counter = int(time.time()) // 30 + steps
    digest = hmac.new(base64.b32decode(secret), struct.pack(">Q", counter), "sha1").digest()
    place = digest[-1] & 0x0F
    number = int.from_bytes(digest[place : place + 4], "big") & 0x7FFF_FFFF
    return f"{number % 1_000_000:06d}"


def give_codes(user: User) -> str:
    """One-time codes and recovery codes; returns the key of the former."""
    secret = generate_totp_secret()
    TOTP.activate(user, secret)
    RecoveryCodes.activate(user)
    return str(secret)


def give_passkey(user: User, name: str = "Phone") -> Authenticator:
    """A passkey as a browser registers it, of a key that nobody holds."""
    as_cose: Callable[..., CoseKey] = ES256.from_cryptography_key
    public = as_cose(ec.generate_private_key(ec.SECP256R1()).public_key())
    credential = AttestedCredentialData.create(Aaguid.NONE, b"passkey-of-tests", public)
    flags = AuthenticatorData.FLAG.UP | AuthenticatorData.FLAG.UV | AuthenticatorData.FLAG.AT
    held = AuthenticatorData.create(sha256(b"localhost").digest(), flags, 0, credential)
    client = b'{"type":"webauthn.create","challenge":"AAAA","origin":"http://localhost"}'
    answer = {
        "clientDataJSON": websafe_encode(client),
        "attestationObject": websafe_encode(AttestationObject.create("none", held, {})),
    }
    number = websafe_encode(credential.credential_id)
    sent = {
        "id": number,
        "rawId": number,
        "type": "public-key",
        "response": answer,
        "clientExtensionResults": {"credProps": {"rk": True}},
    }
    return WebAuthn.add(user, name, sent).instance


@contextmanager
def for_all_tests() -> Iterator[None]:
    """The same for a whole run; fixtures of modules sign in as well."""
    with pytest.MonkeyPatch.context() as patch:
        sign_in_with_factor(patch)
        yield
