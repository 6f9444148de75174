"""What rooms above do when somebody joins, leaves or wants to be named; all within the caller's transaction.

An app registers its functions when it is ready, as pictures are registered with the outbox. A function that
raises stops the change.
"""

from __future__ import annotations

from collections.abc import Callable

from portal.accounts.models import Membership

Moment = Callable[[Membership], None]
_joined: list[Moment] = []
_left: list[Moment] = []
_naming: list[Moment] = []


def when_joined(react: Moment) -> None:
    """Call `react` with each membership that begins, or begins again."""
    _joined.append(react)


def when_left(react: Moment) -> None:
    """Call `react` with each membership that has ended."""
    _left.append(react)


def before_naming(check: Moment) -> None:
    """Let `check` raise ValidationError where a member must not be named in public."""
    _naming.append(check)


def tell_joined(membership: Membership) -> None:
    """Somebody has joined, or come back."""
    for react in _joined:
        react(membership)


def tell_left(membership: Membership) -> None:
    """A membership has ended."""
    for react in _left:
        react(membership)


def check_naming(membership: Membership) -> None:
    """Raises ValidationError where this member must not be named in public."""
    for check in _naming:
        check(membership)
