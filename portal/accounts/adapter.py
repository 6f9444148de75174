"""allauth's hooks: accounts are made by invitation only."""

from __future__ import annotations

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class AccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]
    def is_open_for_signup(self, request: HttpRequest) -> bool:  # noqa: ARG002
        """Nobody signs up by themselves: a coordinator's invitation makes the account."""
        return False
