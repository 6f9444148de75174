"""Two people at the same moment: a group keeps a coordinator, and an invitation is used once."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from portal.accounts import services
from portal.accounts.models import Group, Invitation, Membership, Role, User
from portal.accounts.queries import members_of
from portal.audit.services import history_of
from tests.conftest import Cast
from tests.threads import run_together

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def meet(monkeypatch: pytest.MonkeyPatch) -> threading.Barrier:
    """Both have begun before either looks whether a coordinator would be left."""
    barrier = threading.Barrier(2, timeout=20)
    real = services._hold

    def wait_first(membership: Membership) -> None:
        barrier.wait()
        real(membership)

    monkeypatch.setattr(services, "_hold", wait_first)
    return barrier


def membership(cast: Cast, who: str) -> Membership:
    return Membership.objects.of_group(cast.group).select_related("group").get(user=getattr(cast, who))


def coordinators(cast: Cast) -> set[str]:
    return {each.user.name for each in members_of(cast.group) if each.role == Role.COORDINATOR}


def outcomes(*calls: Callable[[], Any]) -> list[type[BaseException] | None]:
    """What each call raised, None where it went through."""
    return [type(problem) if (problem := each.exception()) else None for each in run_together(*calls)]


def leave(cast: Cast, who: str) -> Callable[[], None]:
    person, own = cast.person(who), membership(cast, who)
    return lambda: services.end_membership(person=person, membership=own)


def step_down(cast: Cast, who: str) -> Callable[[], None]:
    person, own = cast.person(who), membership(cast, who)
    return lambda: services.change_role(person=person, membership=own, role=Role.VOLUNTEER)


@pytest.mark.parametrize("second", [leave, step_down])
def test_two_coordinators_who_go_at_once_leave_one_behind(
    cast: Cast, meet: threading.Barrier, second: Callable[[Cast, str], Callable[[], None]]
) -> None:
    got = outcomes(leave(cast, "coordinator"), second(cast, "second_coordinator"))
    assert set(got) == {ValidationError, None}
    assert len(coordinators(cast)) == 1


def test_whoever_became_the_last_coordinator_meanwhile_stays(cast: Cast) -> None:
    go_home = leave(cast, "volunteer")
    named = membership(cast, "volunteer")
    services.change_role(person=cast.person("coordinator"), membership=named, role=Role.COORDINATOR)
    for who in ("second_coordinator", "coordinator"):
        leave(cast, who)()
    with pytest.raises(ValidationError):
        go_home()
    assert coordinators(cast) == {cast.volunteer.name}


def test_who_is_let_go_twice_has_left_once(cast: Cast) -> None:
    first, again = leave(cast, "volunteer"), leave(cast, "volunteer")
    first()
    again()
    assert [each.verb for each in history_of(membership(cast, "volunteer"), cast.group)].count(
        "membership.ended"
    ) == 1


def test_both_would_go_without_the_lock(
    cast: Cast, meet: threading.Barrier, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Negative control: each still sees the other, and the group is left to nobody."""
    looked = threading.Barrier(2, timeout=20)

    def look_together(group: Group) -> Any:
        found = members_of(group)
        list(found)
        looked.wait()
        return _Remembered(found)

    monkeypatch.setattr(Group.objects, "select_for_update", lambda no_key: Group.objects.all())
    monkeypatch.setattr(services, "members_of", look_together)
    assert outcomes(leave(cast, "coordinator"), leave(cast, "second_coordinator")) == [None, None]
    assert coordinators(cast) == set()


class _Remembered:
    """Members as they were when both looked."""

    def __init__(self, rows: Any) -> None:
        self.rows = list(rows)

    def filter(self, role: str) -> _Remembered:
        return _Remembered([each for each in self.rows if each.role == role])

    def exclude(self, id: Any) -> _Remembered:
        return _Remembered([each for each in self.rows if each.pk != id])

    def exists(self) -> bool:
        return bool(self.rows)


def invited(cast: Cast, email: str) -> Invitation:
    return services.invite_person(
        person=cast.person("coordinator"), group=cast.group, email=email, role=Role.VOLUNTEER
    )


def test_an_invitation_pressed_twice_at_once_joins_once(cast: Cast) -> None:
    invitation = invited(cast, cast.stranger.email)

    def press() -> Membership:
        return services.accept_invitation(invitation=invitation, user=cast.stranger)

    assert set(outcomes(press, press)) == {None, ValidationError}
    assert Membership.objects.of_group(cast.group).filter(user=cast.stranger).count() == 1


def test_a_new_account_sent_twice_at_once_is_made_once(cast: Cast) -> None:
    """A double click on the form of a newcomer: one account, one membership, and no half of a second."""
    invitation = invited(cast, "new@example.org")

    def send() -> User:
        return services.join_with_new_account(
            invitation=invitation, name="Newt Example", password="three unrelated words"
        )

    assert set(outcomes(send, send)) == {None, ValidationError}
    assert User.objects.filter(email="new@example.org").count() == 1
    assert Membership.objects.of_group(cast.group).filter(user__email="new@example.org").count() == 1
