"""When to try again, and when to give up.

A server that takes nothing at all is asked again within half a minute, because then every alert waits and
nothing can be doubled by it. What befalls one message waits longer each time.
"""

from __future__ import annotations

import random
from datetime import datetime, timedelta

from django.utils import timezone

from portal.outbox.models import Message, State
from portal.outbox.transport import Answer, Result

FIRST_DELAY = timedelta(seconds=30)
LONGEST_DELAY = timedelta(hours=1)
FIRST_DELAY_OF_SERVER = timedelta(seconds=5)
LONGEST_DELAY_OF_SERVER = timedelta(seconds=30)
# RFC 5321, 4.5.4.1: the time until giving up needs to be at least four to five days.
GIVE_UP_AFTER = timedelta(days=5)
# So often at least a message was tried in five days; less, and it is the clock that has jumped.
FEWEST_TRIES = 20


def put_off(message: Message, answer: Answer) -> None:
    """Give a message that was not accepted its next time, or mark it as failed; the caller saves it.

    Its attempts, the last included, are rows already.
    """
    now, no_server = timezone.now(), answer.result is Result.NO_SERVER
    tries = message.attempts.filter(no_server=no_server).count()
    is_old = now - message.created_at > GIVE_UP_AFTER and tries >= FEWEST_TRIES
    if answer.result is Result.REFUSED or (is_old and not no_server):
        message.state = State.FAILED
    else:
        message.not_before = next_server_try(tries, now) if no_server else next_try(tries, now, answer.result)


def next_try(tries: int, now: datetime, result: Result = Result.TRY_AGAIN) -> datetime:
    """When to try a message again: after 30 s, doubling to 1 h, shortened at random by up to a fifth.

    After 5 s where the line was cut, as by a server that is restarted. The jitter keeps messages that failed
    together from coming back together.
    """
    first = FIRST_DELAY_OF_SERVER if result is Result.CUT_OFF else FIRST_DELAY
    return now + _grown(first, LONGEST_DELAY, tries)


def next_server_try(tries: int, now: datetime) -> datetime:
    """When to call again a server that took nothing: after 5 s, doubling to 30 s, shortened likewise."""
    return now + _grown(FIRST_DELAY_OF_SERVER, LONGEST_DELAY_OF_SERVER, tries)


def _grown(first: timedelta, longest: timedelta, tries: int) -> timedelta:
    delay: timedelta = min(first * 2 ** min(tries - 1, 10), longest)
    wait: timedelta = delay * random.uniform(0.8, 1.0)  # noqa: S311
    return wait
