"""Members under 18: never without an adult, never named in public, and their guardian known."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from portal.accounts.models import Membership
from portal.accounts.services import choose_naming
from portal.audit.services import history_of
from portal.reports.figures.effort import _agreed_names
from portal.reports.figures.records import load_records
from surveys.errors import NotPossible
from surveys.exporting.people import Names
from surveys.people.models import Minor
from surveys.people.pairs import lacks_adult
from surveys.people.queries import is_minor, minor_user_ids, readiness_of
from surveys.people.services import records
from surveys.people.services.records import Guardian
from tests.conftest import Cast
from tests.factories import days_ago, submit
from tests.people.making import membership_of, under_18
from tests.surveys.outings.returning import begin_return

pytestmark = pytest.mark.django_db


def guardian(**changes: object) -> Guardian:
    usual = {"until": days_ago(-400), "guardian_name": "Gwen Brook", "guardian_phone": "01632 960222"}
    return Guardian(**{**usual, **changes})  # type: ignore[arg-type]


def flag(cast: Cast, role: str = "coordinator", **changes: Any) -> Minor:
    membership = membership_of(cast.volunteer, cast.group)
    return records.set_guardian(person=cast.person(role), membership=membership, guardian=guardian(**changes))


class TestTheFlag:
    def test_it_keeps_the_guardian_and_nothing_of_them_in_the_trail(self, cast: Cast) -> None:
        flag(cast)
        again = flag(cast, guardian_phone="", guardian_email="gwen@example.org")
        assert Minor.objects.of_group(cast.group).get() == again
        trail = history_of(membership_of(cast.volunteer, cast.group), cast.group)
        assert [(each.verb, each.changes) for each in trail] == [("membership.guardian", {})] * 2

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"until": days_ago(0)}, "until"),
            ({"until": days_ago(-19 * 366)}, "until"),
            ({"guardian_name": " "}, "guardian_name"),
            ({"guardian_phone": ""}, "guardian_phone"),
        ],
        ids=["grown up", "unborn", "no name", "no way to reach"],
    )
    def test_a_mistake_is_named_at_its_field(self, cast: Cast, changes: dict[str, Any], field: str) -> None:
        with pytest.raises(NotPossible) as refused:
            flag(cast, **changes)
        assert refused.value.field == field
        assert not Minor.objects.of_group(cast.group).exists()

    def test_only_a_coordinator_sets_or_clears_it(self, cast: Cast) -> None:
        with pytest.raises(PermissionDenied):
            flag(cast, "volunteer")
        membership = membership_of(cast.volunteer, cast.group)
        flag(cast)
        with pytest.raises(PermissionDenied):
            records.clear_guardian(person=cast.person("volunteer"), membership=membership)
        records.clear_guardian(person=cast.person("coordinator"), membership=membership)
        assert not is_minor(membership, timezone.localdate())

    def test_the_birthday_is_the_first_day_as_an_adult(self, cast: Cast) -> None:
        until = under_18(cast.volunteer, cast.group, days=10).until
        assert minor_user_ids(cast.group, until - timedelta(days=1)) == {cast.volunteer.pk}
        assert minor_user_ids(cast.group, until) == set()
        assert readiness_of(cast.group, [], until).minors == frozenset()

    def test_the_database_keeps_no_half_of_a_guardian(self, cast: Cast) -> None:
        minor = under_18(cast.volunteer, cast.group)
        with pytest.raises(IntegrityError), transaction.atomic():
            Minor.objects.of_group(cast.group).filter(pk=minor.pk).update(guardian_phone="")


class TestNotNamed:
    def test_a_name_once_agreed_is_named_no_more(self, cast: Cast) -> None:
        Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(show_name=True)
        flag(cast)
        assert not membership_of(cast.volunteer, cast.group).show_name

    def test_nobody_under_18_can_agree(self, cast: Cast) -> None:
        minor = under_18(cast.volunteer, cast.group)
        own, person = membership_of(cast.volunteer, cast.group), cast.person("volunteer")
        with pytest.raises(ValidationError, match="Until you are 18"):
            choose_naming(person=person, membership=own, show_name=True)
        Minor.objects.of_group(cast.group).filter(pk=minor.pk).update(until=days_ago(0))
        choose_naming(person=person, membership=own, show_name=True)
        assert membership_of(cast.volunteer, cast.group).show_name

    def test_report_and_export_leave_the_name_out_though_the_row_says_yes(self, cast: Cast) -> None:
        visit = submit(cast.person("volunteer"), cast.site)
        members = Membership.objects.of_group(cast.group)
        members.filter(user__in=[cast.volunteer, cast.other_volunteer]).update(show_name=True)
        under_18(cast.volunteer, cast.group)
        cut_off = timezone.now()
        found = load_records(cast.group, cut_off.year, cut_off)
        assert _agreed_names(found, {cast.volunteer.pk, cast.other_volunteer.pk}) == ["Owen Example"]
        assert Names(cast.group).recorder(visit) == ""


class TestNeverWithoutAnAdult:
    @pytest.mark.parametrize(
        ("minors", "people", "somebody_else", "lacks"),
        [
            ({1}, {1}, False, True),
            ({1, 2}, {1, 2}, False, True),
            ({1}, {1, 3}, False, False),
            ({1}, {1}, True, False),
            (set(), {3}, False, False),
            ({1}, set(), False, False),
        ],
    )
    def test_it_is_lacking_where_all_who_are_known_are_minors(
        self, minors: set[int], people: set[int], somebody_else: bool, lacks: bool
    ) -> None:
        assert lacks_adult(minors, people, somebody_else=somebody_else) is lacks  # type: ignore[arg-type]

    def test_a_visit_of_two_minors_is_an_error_at_the_partner(self, cast: Cast) -> None:
        under_18(cast.volunteer, cast.group)
        under_18(cast.other_volunteer, cast.group)
        pair = {"partner": str(cast.other_volunteer.pk), "partner_name": ""}
        with pytest.raises(Exception, match="An adult must go along") as refused:
            submit(cast.person("volunteer"), cast.site, **pair)
        assert "18" not in str(refused.value)

    def test_a_visit_with_an_adult_stands(self, cast: Cast) -> None:
        under_18(cast.volunteer, cast.group)
        pair = {"partner": str(cast.other_volunteer.pk), "partner_name": ""}
        assert submit(cast.person("volunteer"), cast.site, **pair).recorder == cast.volunteer

    @pytest.mark.parametrize("alone", [True, False])
    def test_no_safe_return_starts_for_minors_alone(self, cast: Cast, alone: bool) -> None:
        under_18(cast.volunteer, cast.group)
        under_18(cast.other_volunteer, cast.group)
        partner = None if alone else cast.other_volunteer.pk
        with pytest.raises(NotPossible) as refused:
            begin_return(cast, partner=partner)
        assert refused.value.field == "partner"

    @pytest.mark.parametrize("by_name", [True, False])
    def test_a_safe_return_with_an_adult_starts(self, cast: Cast, by_name: bool) -> None:
        under_18(cast.volunteer, cast.group)
        adult: dict[str, Any] = {"partner": None, "partner_name": "Sam Example"} if by_name else {}
        assert begin_return(cast, **adult).is_live
