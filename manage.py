#!/usr/bin/env python
"""Run a command of the portal; with no DATABASE_URL, on a private PostgreSQL that runs for the while."""

import os
import sys

from portal.audit.origins import Way, begin
from portal.embedded.session import own_servers


def main() -> None:
    """Hand the command line to Django."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
    begin(Way.COMMAND, " ".join(sys.argv[1:2]))
    with own_servers(sys.argv):
        from django.core.management import execute_from_command_line

        execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
