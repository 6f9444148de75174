"""A proposal is a draft with reasons; what is published or changed by hand stays."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from portal.audit.services import history_of
from surveys.errors import NotPossible
from surveys.people.models import Minor, Training, TrainingKind
from surveys.rota.models import Assignment, PlannedVisit, Proposal
from surveys.rota.services.changes import add_to_visit, call_off_visit, move_visit, plan_visit, take_off
from surveys.rota.services.proposals import propose_rota
from surveys.rota.services.publishing import discard_drafts, publish_rota
from tests.conftest import Cast
from tests.factories import days_ago, member_of, submit
from tests.rota.conftest import ahead, fresh, mails, names_on, to_whom
from tests.rota.making import offer_days, plan, put_on

pytestmark = pytest.mark.django_db


def propose(cast: Cast, weeks: int = 4, first_day: date | None = None) -> Proposal:
    person = cast.person("coordinator")
    return propose_rota(person=person, group=cast.group, first_day=first_day or ahead(1), weeks=weeks)


def drafts(cast: Cast) -> list[PlannedVisit]:
    rows = PlannedVisit.objects.of_group(cast.group).filter(state="draft")
    return list(rows.select_related("site", "group").order_by("day"))


def train(cast: Cast, *who: str, until: date | None = None) -> None:
    kind, _new = TrainingKind.objects.of_group(cast.group).get_or_create(
        group=cast.group, name="Kick-sampling", permits="sample"
    )
    for each in who:
        membership = getattr(cast, each).memberships.get(group=cast.group)
        Training.objects.create(
            membership=membership, kind=kind, trained_on=days_ago(90), valid_until=until, trainer_name="Tess"
        )


def under_age(cast: Cast, who: str) -> None:
    membership = getattr(cast, who).memberships.get(group=cast.group)
    Minor.objects.create(membership=membership, until=ahead(900), guardian_name="Gwen", guardian_phone="1")


def test_it_proposes_pairs_with_reasons_in_words(crew: Cast) -> None:
    submit(crew.person("volunteer"), crew.site, visited_on=days_ago(28).isoformat())
    propose(crew, weeks=1)
    (planned,) = drafts(crew)
    assert planned.due_on == ahead(2)
    assert len(names_on(planned)) == 2
    words = {each.user.name: each.why for each in planned.assignments.select_related("user")}
    assert "last there in" in words["Vera Example"]
    assert "visit 1 of at most 4 that month" in words["Vera Example"]


def test_nobody_is_told_of_a_draft(crew: Cast) -> None:
    propose(crew)
    assert mails("rota.planned") == []


def test_only_who_is_trained_is_proposed_once_trainings_are_kept(crew: Cast) -> None:
    train(crew, "volunteer")
    propose(crew, weeks=1)
    (planned,) = drafts(crew)
    assert names_on(planned) == {"Vera"}
    assert "1 place is open: 2 are not trained; 1 member has not said when they can." in planned.open_because


def test_a_training_that_lapses_before_the_day_does_not_count(crew: Cast) -> None:
    train(crew, "volunteer", "other_volunteer", until=days_ago(1))
    propose(crew, weeks=1)
    assert names_on(drafts(crew)[0]) == set()


def test_a_minor_is_never_proposed_alone(crew: Cast) -> None:
    under_age(crew, "volunteer")
    train(crew, "volunteer")
    propose(crew, weeks=1)
    assert names_on(drafts(crew)[0]) == set()
    assert "under 18" in drafts(crew)[0].open_because


def test_a_second_proposal_replaces_the_first(crew: Cast) -> None:
    propose(crew)
    first = {each.pk for each in drafts(crew)}
    propose(crew)
    assert len(drafts(crew)) == len(first)
    assert first.isdisjoint(each.pk for each in drafts(crew))


def test_what_is_published_stays_and_only_its_open_place_is_filled(crew: Cast) -> None:
    planned = plan(crew.site, ahead(3))
    place = put_on(planned, crew.volunteer, state="accepted")
    propose(crew, weeks=1)
    assert drafts(crew) == []
    assert len(names_on(planned)) == 2
    place.refresh_from_db()
    assert place.state == "accepted"
    publish_rota(person=crew.person("coordinator"), group=crew.group)
    assert "vera" not in to_whom("rota.planned")
    assert len(mails("rota.planned")) == 1


def test_a_draft_changed_by_hand_stays(crew: Cast) -> None:
    propose(crew, weeks=1)
    kept = drafts(crew)[0]
    moved = move_visit(person=crew.person("coordinator"), planned=kept, day=ahead(5), start=kept.start)
    propose(crew, weeks=1)
    assert [(each.pk, each.day) for each in drafts(crew)] == [(kept.pk, moved.day)]


def test_another_groups_visit_keeps_somebody_from_being_proposed_that_day(crew: Cast) -> None:
    for user in (crew.volunteer, crew.other_volunteer):
        for number in range(1, 8):
            put_on(plan(crew.neighbour_site, ahead(number), state="cancelled"), user, state="removed")
    elsewhere = [plan(crew.neighbour_site, ahead(10 + number)) for number in range(7)]
    for planned in elsewhere:
        put_on(planned, crew.volunteer)
    propose(crew, weeks=1, first_day=ahead(10))
    assert names_on(drafts(crew)[0]) == {"Owen", "Cora"}


@pytest.mark.parametrize(
    ("days", "weeks", "field"), [(-1, 4, "first_day"), (400, 4, "first_day"), (1, 0, "weeks"), (1, 27, "weeks")]
)
def test_a_span_that_cannot_be_is_refused_at_its_field(crew: Cast, days: int, weeks: int, field: str) -> None:
    with pytest.raises(NotPossible) as refused:
        propose(crew, weeks=weeks, first_day=ahead(days))
    assert refused.value.field == field


def test_a_volunteer_proposes_nothing(crew: Cast) -> None:
    with pytest.raises(PermissionDenied):
        propose_rota(person=crew.person("volunteer"), group=crew.group, first_day=ahead(1), weeks=4)


def test_it_costs_a_fixed_number_of_reads_before_it_writes(crew: Cast) -> None:
    proposal = propose(crew)
    assert proposal.is_best
    assert proposal.seconds < 5
    assert history_of(proposal, crew.group).get().verb == "rota.proposed"


def test_publishing_tells_each_person_once_of_all_their_visits(crew: Cast) -> None:
    propose(crew, weeks=8)
    number = publish_rota(person=crew.person("coordinator"), group=crew.group)
    assert number == 2
    told = mails("rota.planned")
    assert len(told) == len({each.to_address for each in told}) >= 2
    assert "/rota/" in told[0].text
    assert "Nobody has to go for a date" in told[0].text
    assert "Before you go" in told[0].html
    rows = Assignment.objects.of_group(crew.group)
    assert {each.state for each in rows} == {"asked"}


def test_publishing_nothing_says_so(crew: Cast) -> None:
    with pytest.raises(NotPossible, match="nothing to publish"):
        publish_rota(person=crew.person("coordinator"), group=crew.group)


def test_only_minors_are_not_published(crew: Cast) -> None:
    put_on(plan(crew.site, ahead(3), state="draft", published_at=None), crew.volunteer, state="proposed")
    under_age(crew, "volunteer")
    with pytest.raises(NotPossible, match="under 18"):
        publish_rota(person=crew.person("coordinator"), group=crew.group)


def test_a_draft_of_a_day_gone_by_is_not_published(crew: Cast) -> None:
    plan(crew.site, days_ago(1), state="draft", published_at=None)
    with pytest.raises(NotPossible, match="is past"):
        publish_rota(person=crew.person("coordinator"), group=crew.group)


def test_who_left_or_was_asked_by_another_group_meanwhile_is_left_off(crew: Cast) -> None:
    draft = plan(crew.site, ahead(3), state="draft", published_at=None)
    put_on(draft, crew.volunteer, state="proposed")
    put_on(draft, crew.other_volunteer, state="proposed")
    put_on(plan(crew.neighbour_site, ahead(3)), crew.volunteer)
    crew.other_volunteer.memberships.filter(group=crew.group).update(left_at=timezone.now())
    publish_rota(person=crew.person("coordinator"), group=crew.group)
    assert names_on(draft) == set()
    assert fresh(draft).is_published


def test_a_draft_thrown_away_leaves_what_is_published(crew: Cast) -> None:
    published = plan(crew.site, ahead(3))
    put_on(published, crew.volunteer, state="proposed")
    plan(crew.site, ahead(40), state="draft", published_at=None)
    assert discard_drafts(person=crew.person("coordinator"), group=crew.group) == 1
    assert list(PlannedVisit.objects.of_group(crew.group)) == [published]
    assert names_on(published) == set()


class TestChanges:
    def test_a_moved_visit_asks_its_people_again(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        place = put_on(planned, crew.volunteer, state="accepted")
        move_visit(person=crew.person("coordinator"), planned=planned, day=ahead(4), start=planned.start)
        place.refresh_from_db()
        assert (place.state, place.day) == ("asked", ahead(4))
        assert fresh(planned).window_until == ahead(11)
        assert to_whom("rota.changed") == {"vera"}

    def test_it_does_not_move_onto_a_day_on_which_somebody_goes_elsewhere(self, crew: Cast) -> None:
        planned, other = plan(crew.site, ahead(3)), plan(crew.neighbour_site, ahead(4))
        put_on(planned, crew.volunteer)
        put_on(other, crew.volunteer)
        with pytest.raises(NotPossible, match="another site"):
            move_visit(person=crew.person("coordinator"), planned=planned, day=ahead(4), start=planned.start)

    def test_it_does_not_move_where_a_visit_stands_already(self, crew: Cast) -> None:
        first, _second = plan(crew.site, ahead(3)), plan(crew.site, ahead(4))
        with pytest.raises(NotPossible) as refused:
            move_visit(person=crew.person("coordinator"), planned=first, day=ahead(4), start=first.start)
        assert refused.value.field == "day"

    def test_it_does_not_move_out_of_sight(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        with pytest.raises(NotPossible, match="within two years"):
            move_visit(person=crew.person("coordinator"), planned=planned, day=date.max, start=planned.start)

    def test_a_visit_by_hand_needs_a_day_on_which_one_may_go(self, crew: Cast) -> None:
        crew.site.permission_until = ahead(2)
        crew.site.save()
        with pytest.raises(NotPossible, match="permission ends"):
            plan_visit(person=crew.person("coordinator"), group=crew.group, site=crew.site, day=ahead(5))
        made = plan_visit(person=crew.person("coordinator"), group=crew.group, site=crew.site, day=ahead(2))
        assert made.is_draft

    def test_who_is_put_down_is_told(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        add_to_visit(person=crew.person("coordinator"), planned=planned, user=crew.second_coordinator)
        assert names_on(planned) == {"Cole"}
        assert to_whom("rota.planned") == {"cole"}

    @pytest.mark.parametrize("reason", ["training", "full", "elsewhere", "stranger", "minor"])
    def test_who_must_not_go_is_not_put_down(self, crew: Cast, reason: str) -> None:
        planned, user = plan(crew.site, ahead(3)), crew.volunteer
        if reason == "training":
            train(crew, "coordinator")
        elif reason == "full":
            put_on(planned, crew.coordinator)
            put_on(planned, crew.other_volunteer)
        elif reason == "elsewhere":
            put_on(plan(crew.neighbour_site, ahead(3)), user)
        elif reason == "stranger":
            user = crew.stranger
        else:
            under_age(crew, "volunteer")
        with pytest.raises(NotPossible) as refused:
            add_to_visit(person=crew.person("coordinator"), planned=planned, user=user)
        assert refused.value.field == "user"

    def test_who_is_taken_off_is_told_and_not_proposed_for_it_again(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        place = put_on(planned, crew.volunteer)
        take_off(person=crew.person("coordinator"), place=place)
        take_off(person=crew.person("coordinator"), place=place)
        assert len(mails("rota.changed")) == 1
        propose(crew, weeks=1)
        assert names_on(planned) == {"Owen", "Cora"}

    def test_a_visit_called_off_frees_its_people(self, crew: Cast) -> None:
        planned = plan(crew.site, ahead(3))
        put_on(planned, crew.volunteer)
        call_off_visit(person=crew.person("coordinator"), planned=planned, reason="Sheep dip next door.")
        assert fresh(planned).state == "cancelled"
        assert "Sheep dip" in mails("rota.changed")[0].text
        again = plan(crew.site, ahead(3))
        put_on(again, crew.volunteer)
        verbs = [each.verb for each in history_of(planned, crew.group)]
        assert verbs == ["planned_visit.called_off"]

    def test_a_visit_gone_by_is_not_changed(self, crew: Cast) -> None:
        planned = plan(crew.site, days_ago(2))
        with pytest.raises(NotPossible, match="past"):
            call_off_visit(person=crew.person("coordinator"), planned=planned)


def test_a_visit_too_many_days_away_from_home_is_not_proposed(crew: Cast) -> None:
    loner = member_of(crew.group, name="Lou Example")
    offer_days(crew.group, loner, latitude=56, longitude=-2.5, travel_km=10)
    for _weeks in range(3):
        propose(crew, weeks=8)
        assert all("Lou" not in names_on(each) for each in drafts(crew))


def test_a_short_interval_is_planned_at_its_pace(crew: Cast) -> None:
    crew.site.visit_interval_days = 7
    crew.site.save()
    propose(crew, weeks=4)
    days = [each.day for each in drafts(crew)]
    assert len(days) == 4
    assert all(later - earlier >= timedelta(days=1) for earlier, later in pairwise(days))
