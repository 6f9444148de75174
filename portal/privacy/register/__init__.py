"""What is kept of people: the one place that says so, for pages, for the sweep, for files and for erasing."""

from portal.privacy.register.nothing_personal import NOTHING_PERSONAL
from portal.privacy.register.people import PEOPLE
from portal.privacy.register.records import RECORDS
from portal.privacy.register.workings import WORKINGS

KEPT = (*PEOPLE, *RECORDS, *WORKINGS)

__all__ = ["KEPT", "NOTHING_PERSONAL"]
