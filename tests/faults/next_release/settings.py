"""The portal's settings with one app more, whose migrations change the busiest table."""

from portal.settings import *  # noqa: F403
from portal.settings import INSTALLED_APPS as BEFORE

INSTALLED_APPS = [*BEFORE, "tests.faults.next_release"]
