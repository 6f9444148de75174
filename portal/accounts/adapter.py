"""allauth's hooks: accounts by invitation only, mails in their reader's language, addresses that are sure."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.authentication import AUTHENTICATION_METHODS_SESSION_KEY
from allauth.account.models import EmailAddress
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from portal.accounts.languages import is_spoken, speaking_to
from portal.accounts.models import User
from portal.accounts.signing_in import address_changes, devices
from portal.accounts.signing_in.devices import device_of
from portal.accounts.signing_in.sessions import SEEN


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]
    def is_open_for_signup(self, request: HttpRequest) -> bool:  # noqa: ARG002
        """Nobody signs up by themselves: a coordinator's invitation makes the account."""
        return False

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """In the language of the account; with none chosen there, in that of the page it was asked for on."""
        chosen = getattr(context.get("user"), "language", "")
        with speaking_to(own=chosen if is_spoken(chosen) else get_language() or ""):
            super().send_mail(template_prefix, email, context)

    def send_notification_mail(
        self, template_prefix: str, user: User, context: dict[str, Any] | None = None, email: str | None = None
    ) -> None:
        """With whose account it is, so that the mail speaks their language; to the account's own address."""
        with_reader = {
            "user": user,
            "device": device_of(self.get_http_user_agent(self.request)),
            **(context or {}),
        }
        super().send_notification_mail(template_prefix, user, with_reader, email or user.email)

    def confirm_email(self, request: HttpRequest, email_address: EmailAddress) -> bool:
        """The new address alone is not enough where the account has another one."""
        if not address_changes.waits_for_present(email_address):
            return bool(super().confirm_email(request, email_address))
        address_changes.confirm_new(email_address)
        text = _("Thank you. One step is left: the link in the mail to the address that the account has now.")
        self.add_message(request, messages.INFO, message=text)
        return False

    def post_login(self, request: HttpRequest, user: User, **details: Any) -> HttpResponse:
        """Whoever has just signed in need not show again that it is them; a new device is told by mail."""
        for record in request.session.get(AUTHENTICATION_METHODS_SESSION_KEY, []):
            record["reauthenticated"] = True
        request.session[SEEN] = timezone.localdate().isoformat()
        response: HttpResponse = super().post_login(request, user, **details)
        devices.greet_device(request, user, response)
        return response
