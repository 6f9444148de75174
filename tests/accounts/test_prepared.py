"""A prepared query finds what the plain one finds, whoever asks, and refuses what would go out of date."""

from __future__ import annotations

import threading
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.db.models import Case, F, Q, QuerySet, Value, When
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.translation import gettext
from pytest_django import Settings

from portal.accounts.models import Group, Membership, Role, User
from portal.accounts.prepared import NotPreparable, Prepared, planned, prepared
from portal.accounts.scoping import GroupOwnedQuerySet, UnscopedQuery
from portal.accounts.walls import closed, within
from tests.factories import GroupFactory, MembershipFactory, UserFactory

pytestmark = pytest.mark.django_db
WEEK = timedelta(days=7)


@prepared
def joined(group: Group, role: str, since: datetime, most: int = 50) -> GroupOwnedQuerySet[Membership]:
    found = Membership.objects.of_group(group).filter(role=role, joined_at__gte=since - WEEK)
    return found.select_related("user").prefetch_related("group").order_by("user__name")[:most]


@prepared
def named(numbers: tuple[UUID, ...], is_active: bool | None, role: Role | None = None) -> QuerySet[Any, Any]:
    found = User.objects.filter(pk__in=numbers).order_by("name")
    found = found if is_active is None else found.filter(is_active=is_active)
    found = found.filter(memberships__role=role) if role else found
    return found.values("name", "is_active")


@pytest.fixture
def people() -> list[Membership]:
    first, second = GroupFactory(), GroupFactory()
    roles = ("volunteer", "volunteer", "coordinator")
    return [MembershipFactory(group=group, role=role) for group in (first, second) for role in roles]


def test_it_finds_what_the_plain_query_finds_for_each_value(people: list[Membership]) -> None:
    now = timezone.now()
    for group in {each.group for each in people}:
        for role in ("volunteer", "coordinator", "reviewer"):
            for since in (now, now + WEEK - timedelta(hours=1), now + 2 * WEEK):
                found = joined(group, role, since)
                assert found == list(joined.plainly(group, role, since))
    assert len(joined(people[0].group, "volunteer", now)) == 2
    assert joined(people[0].group, "volunteer", now + 2 * WEEK) == []


def test_records_come_with_all_that_was_asked_for(people: list[Membership]) -> None:
    joined(people[0].group, "volunteer", timezone.now())
    with CaptureQueriesContext(
        connection,
    ) as asked:
        found = joined(people[0].group, "volunteer", timezone.now())
        assert all(each.user.name for each in found)
        assert {each.group for each in found} == {people[0].group}
    assert len(asked) == 2


def test_what_bears_on_the_statement_has_one_of_its_own(people: list[Membership]) -> None:
    numbers = tuple(each.user_id for each in people)
    User.objects.filter(pk=numbers[0]).update(is_active=False)
    for some in (numbers, numbers[:2], numbers[:1], ()):
        for is_active in (True, False, None):
            for role in (Role.COORDINATOR, None):
                assert named(some, is_active, role) == list(named.plainly(some, is_active, role))
    assert len(joined(people[0].group, "volunteer", timezone.now(), most=1)) == 1


def test_a_statement_is_made_once(people: list[Membership], monkeypatch: pytest.MonkeyPatch) -> None:
    joined(people[0].group, "volunteer", timezone.now())
    monkeypatch.setattr(Prepared, "_prepared", None)
    assert joined(people[3].group, "volunteer", timezone.now())


def test_it_can_be_switched_off(people: list[Membership], settings: Settings) -> None:
    """Then nothing is refused, because nothing is kept."""
    settings.KEEPS_STATEMENTS = False
    group = people[0].group
    assert len(joined(group, "volunteer", timezone.now())) == 2
    assert len(prepared(read_clock)(group)) == 3


def test_the_second_wall_holds(people: list[Membership]) -> None:
    own, other = people[0].group, people[3].group
    with within(own.pk):
        assert joined(own, "volunteer", timezone.now())
        assert joined(other, "volunteer", timezone.now()) == []
    with closed():
        assert joined(own, "volunteer", timezone.now()) == []


def test_a_query_that_names_no_group_is_refused_every_time(people: list[Membership]) -> None:
    everybody = prepared(lambda role: Membership.objects.filter(role=role))
    for _twice in range(2):
        with pytest.raises(UnscopedQuery):
            everybody("volunteer")


def test_what_was_found_is_never_found_again_by_itself(people: list[Membership]) -> None:
    first = joined(people[0].group, "volunteer", timezone.now())
    MembershipFactory(group=people[0].group, role="volunteer")
    assert len(joined(people[0].group, "volunteer", timezone.now())) == len(first) + 1


def read_clock(group: Group) -> Any:
    return Membership.objects.of_group(group).filter(joined_at__lt=timezone.now())


def read_day(group: Group) -> Any:
    return Membership.objects.of_group(group).filter(joined_at__date__lt=date(2026, 1, 1))


def spoke(group: Group) -> Any:
    return Membership.objects.of_group(group).annotate(word=Value(gettext("Sites")))


def reckoned(text: str) -> Any:
    return User.objects.filter(name=text.upper())


def looked_further(group: Group) -> Any:
    return User.objects.filter(name=group.name)


def made_up(_group: Group) -> Any:
    return User.objects.filter(pk=uuid4())


@pytest.mark.parametrize("build", [read_clock, read_day, spoke, reckoned, made_up])
def test_what_would_go_out_of_date_is_refused(build: Any) -> None:
    given = "word" if build is reckoned else GroupFactory()
    with pytest.raises(NotPreparable):
        prepared(build)(given)


def test_a_record_is_known_by_its_key_alone() -> None:
    with pytest.raises(Group.DoesNotExist):
        prepared(looked_further)(GroupFactory())


def test_a_kind_without_a_stand_in_is_refused() -> None:
    with pytest.raises(NotPreparable, match="float"):
        prepared(lambda number: User.objects.filter(name=number))(1.5)


def test_a_later_moment_is_reckoned_from_the_one_handed_over() -> None:
    later = prepared(lambda now: User.objects.annotate(at=Value(now + WEEK)).values_list("at", flat=True))
    UserFactory()
    for moment in (timezone.now(), timezone.now() - 30 * WEEK):
        assert set(later(moment)) == {moment + WEEK}


def test_a_changed_copy_of_a_column_is_no_value() -> None:
    twice = prepared(lambda name: User.objects.filter(name=name).annotate(again=F("name")).values("again"))
    user = UserFactory()
    assert twice(user.name) == [{"again": user.name}]


@planned
def told(group: Group, role: str, numbers: tuple[UUID, ...], since: datetime) -> QuerySet[Any, Any]:
    found = Membership.objects.of_group(group).filter(Q(role=role) | Q(user__in=numbers))
    lately = Case(When(joined_at__gt=since, then=1), default=0)
    told: Any = found.annotate(word=Value("member"), lately=lately)
    return told.values("user__name", "word", "lately").order_by("user__name")  # type: ignore[no-any-return]


def statements_planned() -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT statement FROM pg_prepared_statements")
        return [statement for (statement,) in cursor.fetchall()]


def test_a_plan_is_kept_and_finds_the_same(people: list[Membership]) -> None:
    first, second, now = people[0].group, people[3].group, timezone.now()
    for _often in range(8):
        for group, role in ((first, "volunteer"), (second, "coordinator"), (second, "reviewer")):
            for since in (now, now - WEEK):
                asked = (group, role, (people[0].user_id, people[4].user_id), since)
                assert told(*asked) == list(told.plainly(*asked))
    assert any("accounts_membership" in each for each in statements_planned())


def test_the_second_wall_holds_for_a_kept_plan(people: list[Membership]) -> None:
    own, other = people[0].group, people[3].group
    for _often in range(8):
        with within(own.pk):
            assert told(own, "volunteer", (), timezone.now())
            assert told(other, "volunteer", (), timezone.now()) == []
        with closed():
            assert told(own, "volunteer", (), timezone.now()) == []


def test_who_looks_at_queries_sees_their_values(people: list[Membership]) -> None:
    with CaptureQueriesContext(connection) as seen:
        told(people[0].group, "volunteer", (), timezone.now())
    assert people[0].group_id.hex in seen.captured_queries[0]["sql"]


@pytest.mark.django_db(transaction=True)
def test_each_thread_asks_on_a_connection_of_its_own() -> None:
    user, found = UserFactory(), []
    account = prepared(lambda number: User.objects.filter(pk=number))
    account(user.pk)

    def ask() -> None:
        try:
            found.extend(account(user.pk))
        finally:
            connection.close()

    thread = threading.Thread(target=ask)
    thread.start()
    thread.join()
    assert found == [user]
