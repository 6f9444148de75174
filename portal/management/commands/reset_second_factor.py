"""Help somebody back in who has lost their second factor and their recovery codes."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from portal.accounts.models import User
from portal.accounts.signing_in.losing import reset_factor_by_operator


class Command(BaseCommand):
    help = "Take a lost second factor off an account; its person sets a new password by e-mail."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email", help="whose second factor is lost")
        parser.add_argument("--operator", required=True, metavar="EMAIL", help="who does it")
        parser.add_argument("--reason", required=True, help="how you know that it is them who ask")

    def handle(self, *_args: Any, **options: Any) -> None:
        user, operator = _account(options["email"]), _account(options["operator"])
        try:
            reset_factor_by_operator(operator=operator, user=user, reason=options["reason"])
        except ValidationError as problem:
            raise CommandError(" ".join(problem.messages)) from problem
        self.stdout.write(f"{user.email} gets an e-mail that says how to sign in again.")


def _account(email: str) -> User:
    try:
        return User.objects.get(email=email.lower(), is_active=True)
    except User.DoesNotExist:
        raise CommandError(f"There is no account in use with the address {email}.") from None
