"""Kinds of training, who was trained on what evidence, and what lapses."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from uuid import UUID, uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.utils import timezone

from portal.accounts.models import Membership
from portal.accounts.queries import members_of
from portal.audit.services import history_of
from portal.outbox.models import Message
from surveys.errors import NotPossible
from surveys.models import Visit
from surveys.people.evidence import split_samples
from surveys.people.models import Permit, Training, TrainingKind
from surveys.people.queries import lapsing_trainings, may_sample, readiness_of, training_table
from surveys.people.services import trainings as services
from surveys.people.services.trainings import Trained, months_after
from surveys.people.tasks import remind_of_lapsing
from tests.conftest import Cast
from tests.factories import days_ago, submit
from tests.people.making import kind_of, membership_of, trained

pytestmark = pytest.mark.django_db


def ahead(days: int) -> date:
    return days_ago(-days)


def record(cast: Cast, **changes: object) -> Training:
    usual = {"kind": kind_of(cast.group, valid_months=36).pk, "trained_on": days_ago(10)}
    said = Trained(**{**usual, "trainer": cast.coordinator.pk, **changes})  # type: ignore[arg-type]
    membership = membership_of(cast.volunteer, cast.group)
    return services.record_training(person=cast.person("coordinator"), membership=membership, trained=said)


def reminders() -> list[str]:
    found = Message.objects.across_groups("tests").filter(kind="training.lapses")
    return [each.to_address for each in found.order_by("created_at")]


class TestKinds:
    def test_the_usual_ones_are_added_beside_what_stands_there(self, cast: Cast) -> None:
        kind_of(cast.group, name="first AID")
        person = cast.person("coordinator")
        added = services.add_usual_kinds(person=person, group=cast.group)
        assert len(added) == len(services.USUAL_KINDS) - 1
        assert services.add_usual_kinds(person=person, group=cast.group) == []

    def test_a_name_stands_once_in_a_group(self, cast: Cast) -> None:
        kind_of(cast.group, name="Kicking")
        said = {"name": " KICKING ", "permits": "sample", "valid_months": None}
        with pytest.raises(NotPossible) as refused:
            services.save_kind(person=cast.person("coordinator"), group=cast.group, **said)  # type: ignore[arg-type]
        assert refused.value.field == "name"
        person = cast.person("neighbour_coordinator")
        assert services.save_kind(person=person, group=cast.neighbour, **said).name == "KICKING"  # type: ignore[arg-type]

    def test_a_change_is_written_down_with_before_and_after(self, cast: Cast) -> None:
        kind = kind_of(cast.group, name="Kicking", valid_months=12)
        saved = services.save_kind(
            person=cast.person("coordinator"),
            group=cast.group,
            name="Kicking",
            permits="sample",
            valid_months=24,
            kind=kind,
            is_retired=True,
        )
        [entry] = history_of(saved, cast.group)
        assert entry.changes == {"valid_months": ["12", "24"], "retired": ["False", "True"]}

    def test_a_kind_no_longer_kept_is_on_no_list_and_reminds_nobody(self, cast: Cast) -> None:
        trained(cast.volunteer, cast.group, until=ahead(5))
        TrainingKind.objects.of_group(cast.group).update(retired_at=timezone.now())
        kinds, _rows = training_table(cast.group, timezone.localdate(), members_of(cast.group))
        assert kinds == []
        assert lapsing_trainings(cast.group, timezone.localdate()) == []
        assert remind_of_lapsing() == 0


class TestRecording:
    def test_it_holds_as_long_as_its_kind_says(self, cast: Cast) -> None:
        made = record(cast, trained_on=days_ago(10))
        assert made.valid_until == months_after(days_ago(10), 36)
        assert (made.trainer, made.trainer_name) == (cast.coordinator, "Cora Example")
        assert made.recorded_by == cast.coordinator
        [entry] = history_of(made, cast.group)
        assert (entry.verb, entry.changes["kind"]) == ("training.recorded", [None, "sample"])

    def test_a_day_given_goes_before_the_months(self, cast: Cast) -> None:
        assert record(cast, valid_until=ahead(3)).valid_until == ahead(3)

    def test_a_kind_without_months_does_not_lapse(self, cast: Cast) -> None:
        kind = kind_of(cast.group, Permit.OTHER)
        assert record(cast, kind=kind.pk).valid_until is None

    def test_a_trainer_from_elsewhere_is_given_by_name(self, cast: Cast) -> None:
        made = record(cast, trainer=None, trainer_name=" Tess Example ")
        assert (made.trainer, made.trainer_name) == (None, "Tess Example")

    @pytest.mark.parametrize(
        ("field", "changes"),
        [
            ("kind", lambda _cast: {"kind": uuid4()}),
            ("kind", lambda cast: {"kind": kind_of(cast.neighbour).pk}),
            ("kind", lambda cast: {"kind": kind_of(cast.group, name="Old", retired_at=timezone.now()).pk}),
            ("trained_on", lambda _cast: {"trained_on": ahead(1)}),
            ("valid_until", lambda _cast: {"valid_until": days_ago(11)}),
            ("trainer_name", lambda _cast: {"trainer": None, "trainer_name": " "}),
            ("trainer", lambda cast: {"trainer": cast.volunteer.pk}),
            ("trainer", lambda cast: {"trainer": cast.neighbour_coordinator.pk}),
            ("split_sample", lambda _cast: {"split_sample": f"{UUID(int=1)}:{UUID(int=2)}"}),
        ],
        ids=["none", "foreign", "retired", "to come", "lapsed", "nobody", "oneself", "stranger", "pair"],
    )
    def test_a_mistake_is_named_at_its_field(
        self, cast: Cast, field: str, changes: Callable[[Cast], dict[str, object]]
    ) -> None:
        with pytest.raises(NotPossible) as refused:
            record(cast, **changes(cast))
        assert refused.value.field == field
        assert not Training.objects.of_group(cast.group).exists()

    def test_only_a_coordinator_writes_it_down(self, cast: Cast) -> None:
        said = Trained(kind_of(cast.group).pk, days_ago(1), trainer_name="Tess")
        membership = membership_of(cast.volunteer, cast.group)
        with pytest.raises(PermissionDenied):
            services.record_training(person=cast.person("volunteer"), membership=membership, trained=said)

    def test_nobody_who_has_left_is_trained(self, cast: Cast) -> None:
        Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(left_at=timezone.now())
        with pytest.raises(NotPossible, match="no longer a member"):
            record(cast)

    def test_the_database_refuses_a_training_that_ends_before_it_begins(self, cast: Cast) -> None:
        with pytest.raises(IntegrityError), transaction.atomic():
            trained(cast.volunteer, cast.group, on=days_ago(1), until=days_ago(2))


def test_a_split_sample_is_kept_as_it_stood(cast: Cast) -> None:
    own = submit(cast.person("volunteer"), cast.site)
    others = submit(cast.person("coordinator"), cast.site, counts={"Baetidae": 9, "Elmidae": 4})
    [sample] = split_samples(membership_of(cast.volunteer, cast.group))
    assert sample.key == f"{own.pk}:{others.pk}"
    made = record(cast, split_sample=sample.key)
    assert (made.own_visit, made.trainers_visit) == (own, others)
    figures = [(each["label"], each["value"]) for each in made.agreement]
    assert figures == [(str(each.label), round(each.value, 1)) for each in sample.measures]
    Visit.objects.of_group(cast.group).filter(pk=others.pk).update(visited_on=days_ago(3))
    made.refresh_from_db()
    assert [(each["label"], each["value"]) for each in made.agreement] == figures


@pytest.mark.parametrize(
    ("day", "months", "later"),
    [
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2025, 1, 31), 1, date(2025, 2, 28)),
        (date(2025, 12, 15), 1, date(2026, 1, 15)),
        (date(2025, 11, 30), 3, date(2026, 2, 28)),
        (date(2025, 5, 7), 36, date(2028, 5, 7)),
    ],
    ids=str,
)
def test_months_later_is_the_same_day_or_the_last(day: date, months: int, later: date) -> None:
    assert months_after(day, months) == later


class TestWithdrawing:
    def test_it_counts_no_more_and_says_why(self, cast: Cast) -> None:
        training = trained(cast.volunteer, cast.group)
        today = timezone.localdate()
        assert may_sample(cast.group, today) == {cast.volunteer.pk: {"sample"}}
        person = cast.person("coordinator")
        services.withdraw_training(person=person, training=training, reason="Wrong person.")
        assert may_sample(cast.group, today) == {}
        assert not readiness_of(cast.group, [cast.volunteer.pk], today).is_trained(cast.volunteer.pk)
        assert history_of(training, cast.group)[0].reason == "Wrong person."
        with pytest.raises(NotPossible, match="already"):
            services.withdraw_training(person=person, training=training, reason="Again.")

    def test_a_reason_is_needed(self, cast: Cast) -> None:
        training = trained(cast.volunteer, cast.group)
        with pytest.raises(NotPossible) as refused:
            services.withdraw_training(person=cast.person("coordinator"), training=training, reason="")
        assert refused.value.field == "reason"


class TestLapsing:
    @pytest.mark.parametrize(("days", "holds"), [(-1, False), (0, True), (30, True), (31, False)])
    def test_it_holds_from_its_day_to_its_last(self, cast: Cast, days: int, holds: bool) -> None:
        begun = days_ago(40)
        trained(cast.volunteer, cast.group, on=begun, until=begun + timedelta(days=30))
        day = begun + timedelta(days=days)
        assert (cast.volunteer.pk in may_sample(cast.group, day)) is holds
        assert readiness_of(cast.group, [cast.volunteer.pk], day).is_trained(cast.volunteer.pk) is holds

    @pytest.mark.parametrize(("days", "listed"), [(-5, True), (0, True), (60, True), (61, False)])
    def test_it_is_listed_sixty_days_before(self, cast: Cast, days: int, listed: bool) -> None:
        trained(cast.volunteer, cast.group, until=ahead(days))
        found = lapsing_trainings(cast.group, timezone.localdate())
        assert [each.person for each in found] == [cast.volunteer] * listed

    def test_a_later_training_of_the_kind_takes_it_off(self, cast: Cast) -> None:
        trained(cast.volunteer, cast.group, until=ahead(5))
        trained(cast.volunteer, cast.group, on=days_ago(1), until=ahead(900))
        trained(cast.other_volunteer, cast.group, until=ahead(4))
        trained(cast.other_volunteer, cast.group, on=days_ago(3))
        assert lapsing_trainings(cast.group, timezone.localdate()) == []

    def test_whoever_left_is_not_listed(self, cast: Cast) -> None:
        trained(cast.volunteer, cast.group, until=ahead(5))
        Membership.objects.of_group(cast.group).filter(user=cast.volunteer).update(left_at=timezone.now())
        assert lapsing_trainings(cast.group, timezone.localdate()) == []
        assert may_sample(cast.group, timezone.localdate()) == {}


class TestTheReminder:
    def test_it_comes_once_for_each_training(self, cast: Cast) -> None:
        trained(cast.volunteer, cast.group, until=ahead(20))
        trained(cast.volunteer, cast.group, Permit.FIRST_AID, until=ahead(30))
        trained(cast.other_volunteer, cast.group, until=ahead(90))
        trained(cast.neighbour_volunteer, cast.neighbour, until=ahead(1))
        for _each in range(3):
            remind_of_lapsing()
        assert sorted(reminders()) == ["noel@example.org", "vera@example.org", "vera@example.org"]

    def test_what_lapsed_before_is_not_written_about(self, cast: Cast) -> None:
        trained(cast.volunteer, cast.group, until=days_ago(1))
        trained(cast.other_volunteer, cast.group, until=ahead(0))
        assert remind_of_lapsing() == 1
        assert reminders() == ["owen@example.org"]

    def test_it_says_which_and_until_when(self, cast: Cast) -> None:
        trained(cast.volunteer, cast.group, until=ahead(20))
        remind_of_lapsing()
        mail = Message.objects.across_groups("tests").get(kind="training.lapses")
        assert "sample" in mail.subject
        assert str(ahead(20).year) in mail.text
        assert cast.group.name in mail.text
