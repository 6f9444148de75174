"""Django's own, with the names under which this project marks a text now or for later."""

from django.core.management.commands import makemessages


class Command(makemessages.Command):
    """Collects every marked text; see `make messages`."""

    xgettext_options = [*makemessages.Command.xgettext_options, "--keyword=_now", "--keyword=_later"]
