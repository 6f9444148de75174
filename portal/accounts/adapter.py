"""allauth's hooks: accounts are made by invitation only."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest
from django.utils.translation import get_language

from portal.accounts.languages import is_spoken, speaking_to


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]
    def is_open_for_signup(self, request: HttpRequest) -> bool:  # noqa: ARG002
        """Nobody signs up by themselves: a coordinator's invitation makes the account."""
        return False

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """In the language of the account; with none chosen there, in that of the page it was asked for on."""
        chosen = getattr(context.get("user"), "language", "")
        with speaking_to(own=chosen if is_spoken(chosen) else get_language() or ""):
            super().send_mail(template_prefix, email, context)
