#!/usr/bin/env python
"""Run a command of the portal; with no DATABASE_URL, on a private PostgreSQL that runs for the while."""

import os
import sys

from portal.accounts.walls import wide
from portal.audit.origins import Way, begin
from portal.embedded.session import needs_the_owner, own_servers
from portal.embedded.tables import missing_tables


def main() -> None:
    """Hand the command line to Django."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
    begin(Way.COMMAND, " ".join(sys.argv[1:2]))
    if needs_the_owner(sys.argv):
        os.environ["AS_DATABASE_OWNER"] = "1"
    with own_servers(sys.argv), wide("a command is the operator's own work"):
        from django.core.management import execute_from_command_line

        with missing_tables():
            execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
