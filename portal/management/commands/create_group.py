"""Found a group and invite its first coordinator."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.core.validators import validate_email

from portal.accounts.models import Group, User
from portal.accounts.services import create_group


class Command(BaseCommand):
    help = "Found a group and send its first coordinator an invitation by e-mail."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("slug", help="short name in addresses: small letters, digits and hyphens")
        parser.add_argument("name", help="the group's full name")
        parser.add_argument("--coordinator", required=True, metavar="EMAIL", help="who is invited to lead it")
        parser.add_argument(
            "--operator", metavar="EMAIL", help="who founds it; needed when there are several operators"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        try:
            validate_email(options["coordinator"])
        except ValidationError as problem:
            raise CommandError(f"--coordinator: “{options['coordinator']}” is no e-mail address.") from problem
        try:
            group = create_group(
                name=options["name"],
                slug=options["slug"],
                operator=_operator(options["operator"]),
                coordinator_email=options["coordinator"],
            )
        except ValidationError as problem:
            raise CommandError(_told(problem, options["slug"])) from problem
        self.stdout.write(f"{group.name} is founded; {options['coordinator']} gets an invitation by e-mail.")


def _told(problem: ValidationError, slug: str) -> str:
    """What is wrong with the arguments, by the names that they have on the command line."""
    if Group.objects.filter(slug=slug).exists():
        return f"slug: there is a group “{slug}” already."
    fields = getattr(problem, "message_dict", {"": problem.messages})
    return " ".join(f"{name}: {words}" for name, each in fields.items() for words in each)


def _operator(email: str | None) -> User:
    """The account in whose name the group is founded."""
    operators = User.objects.filter(is_staff=True, is_active=True)
    if email:
        operators = operators.filter(email__iexact=email)
    found = list(operators[:2])
    if not found:
        raise CommandError("There is no such operator: make one with manage.py createsuperuser.")
    if len(found) > 1:
        raise CommandError("There are several operators: say who you are with --operator EMAIL.")
    return found[0]
