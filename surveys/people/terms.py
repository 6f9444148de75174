"""How long things are kept and how much is taken at a time; pages and e-mails say the same figures."""

from __future__ import annotations

from datetime import timedelta

# Common practice, no source: half a year lets a season of visits pass.
ERASED_AFTER = timedelta(days=180)
UNCONFIRMED_KEPT = timedelta(days=7)
ATTEMPTS_KEPT = timedelta(days=1)
# A household may well share one line; nobody fills the form in ten times an hour by hand.
SENDER_AN_HOUR = 5
GROUP_AN_HOUR = 60
MAILS_TO_ADDRESS_A_DAY = 3
# Where nobody knows when somebody turns 18: nobody under twelve goes out with a group.
MINOR_AT_MOST = timedelta(days=6 * 366)
# Whoever is under 18 today turns 18 by then, leap years counted; what lies later is a slip of the pen.
GROWN_UP_WITHIN = timedelta(days=18 * 366)
