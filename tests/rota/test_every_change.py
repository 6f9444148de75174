"""Every service of the rota: who may, its audit row, and nothing half done where something breaks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import models, transaction
from django.http import Http404

from portal.accounts.access import Person
from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from surveys.models import Site
from surveys.rota.models import (
    Assignment,
    Availability,
    CalendarFeed,
    CoverOffer,
    NamedDays,
    PlannedVisit,
    Proposal,
    SwapOffer,
)
from surveys.rota.services import answers, availability, changes, feeds, proposals, publishing, swaps
from tests.conftest import Cast
from tests.rota.conftest import ahead
from tests.rota.making import plan, put_on

pytestmark = pytest.mark.django_db
WATCHED: tuple[type[models.Model], ...] = (
    *(Availability, NamedDays, PlannedVisit, Assignment, CoverOffer, SwapOffer, CalendarFeed, Proposal),
    *(Message,),
)


@dataclass
class Scene:
    """A visit of Vera and Cora, one of Owen, a draft, an open visit offered to Owen, and a swap to answer."""

    cast: Cast
    first: PlannedVisit
    draft: PlannedVisit
    vera: Assignment
    owen: Assignment
    offer: CoverOffer
    swap: SwapOffer
    days: NamedDays


@pytest.fixture
def scene(crew: Cast, second_site: Site) -> Scene:
    first, second = plan(crew.site, ahead(3)), plan(second_site, ahead(9))
    vera, owen = put_on(first, crew.volunteer), put_on(second, crew.other_volunteer)
    put_on(first, crew.coordinator, state="accepted")
    open_visit = plan(crew.site, ahead(40))
    offer = CoverOffer.objects.create(planned=open_visit, user=crew.other_volunteer)
    swap = SwapOffer.objects.create(group=crew.group, mine=vera, yours=owen)
    draft = plan(second_site, ahead(60), state="draft", published_at=None)
    put_on(draft, crew.volunteer, state="proposed")
    own = Availability.objects.of_group(crew.group).get(user=crew.volunteer)
    days = own.named_days.create(kind="away", first_day=ahead(90), last_day=ahead(91))
    return Scene(crew, first, draft, vera, owen, offer, swap, days)


Service = Callable[[Scene, Person], Any]
SERVICES: Mapping[str, tuple[str, Service]] = {
    "rota.proposed": (
        "coordinator",
        lambda s, p: proposals.propose_rota(person=p, group=s.cast.group, first_day=ahead(1), weeks=2),
    ),
    "planned_visit.published": (
        "coordinator",
        lambda s, p: publishing.publish_rota(person=p, group=s.cast.group),
    ),
    "planned_visit.discarded": (
        "coordinator",
        lambda s, p: publishing.discard_drafts(person=p, group=s.cast.group),
    ),
    "planned_visit.added": (
        "coordinator",
        lambda s, p: changes.plan_visit(person=p, group=s.cast.group, site=s.cast.site, day=ahead(70)),
    ),
    "planned_visit.moved": (
        "coordinator",
        lambda s, p: changes.move_visit(person=p, planned=s.first, day=ahead(4), start=s.first.start),
    ),
    "planned_visit.person_added": (
        "coordinator",
        lambda s, p: changes.add_to_visit(person=p, planned=s.draft, user=s.cast.second_coordinator),
    ),
    "planned_visit.person_removed": ("coordinator", lambda s, p: changes.take_off(person=p, place=s.vera)),
    "planned_visit.called_off": (
        "coordinator",
        lambda s, p: changes.call_off_visit(person=p, planned=s.first, reason="Works."),
    ),
    "rota.cover_asked": (
        "coordinator",
        lambda s, p: answers.ask_for_cover(person=p, planned=s.offer.planned),
    ),
    "rota.accepted": ("volunteer", lambda s, p: answers.accept_place(person=p, place=s.vera)),
    "rota.declined": ("volunteer", lambda s, p: answers.decline_place(person=p, place=s.vera)),
    "rota.cover_taken": ("other_volunteer", lambda s, p: answers.take_cover(person=p, offer=s.offer)),
    "rota.swap_refused": ("other_volunteer", lambda s, p: swaps.refuse_swap(person=p, swap=s.swap)),
    "rota.swapped": ("other_volunteer", lambda s, p: swaps.agree_swap(person=p, swap=s.swap)),
    "rota.swap_offered": (
        "other_volunteer",
        lambda s, p: swaps.offer_swap(person=p, mine=s.owen, yours=s.vera),
    ),
    "availability.changed": (
        "volunteer",
        lambda s, p: availability.save_availability(person=p, group=s.cast.group, fields={"most_a_month": 1}),
    ),
    "availability.days_added": (
        "volunteer",
        lambda s, p: availability.add_named_days(
            person=p, group=s.cast.group, kind="can", first_day=ahead(1), last_day=ahead(2)
        ),
    ),
    "availability.days_removed": (
        "volunteer",
        lambda s, p: availability.remove_named_days(person=p, days=s.days),
    ),
    "calendar.renewed": ("volunteer", lambda s, p: feeds.renew_own_feed(person=p, group=s.cast.group)),
}
# What any member may do for themselves.
ONES_OWN = {"availability.changed", "availability.days_added", "calendar.renewed"}


def everything() -> dict[str, list[dict[str, Any]]]:
    found = {}
    for model in WATCHED:
        rows: Any = model._default_manager
        found[model.__name__] = list(rows.across_groups("test").order_by("pk").values())
    return found


def trail() -> list[str]:
    rows = AuditEntry.objects.across_groups("test").order_by("at")
    return list(rows.values_list("verb", flat=True))


@pytest.mark.parametrize("verb", sorted(SERVICES))
def test_each_change_stands_with_its_audit_row(scene: Scene, verb: str) -> None:
    who, service = SERVICES[verb]
    before = everything()
    service(scene, scene.cast.person(who))
    assert everything() != before
    assert verb in trail()
    entry = AuditEntry.objects.across_groups("test").filter(verb=verb).latest("at")
    assert entry.actor_id == getattr(scene.cast, who).pk


@pytest.mark.parametrize("verb", sorted(SERVICES))
def test_where_the_audit_row_cannot_be_written_nothing_is(
    scene: Scene, verb: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def torn(*_args: Any, **_kwargs: Any) -> None:
        raise OSError("The trail cannot be written.")

    monkeypatch.setattr(AuditEntry, "save", torn)
    who, service = SERVICES[verb]
    before = everything()
    with pytest.raises(OSError, match="trail"), transaction.atomic():
        service(scene, scene.cast.person(who))
    assert everything() == before
    assert trail() == []


@pytest.mark.parametrize("verb", sorted(SERVICES))
def test_a_neighbour_learns_nothing_and_changes_nothing(scene: Scene, verb: str) -> None:
    before = everything()
    with pytest.raises(Http404):
        SERVICES[verb][1](scene, scene.cast.person("neighbour_coordinator"))
    assert everything() == before


@pytest.mark.parametrize("verb", sorted(set(SERVICES) - ONES_OWN - {"availability.days_removed"}))
def test_a_member_without_the_right_is_told_so(scene: Scene, verb: str) -> None:
    """Planning is for coordinators, answering for whose place it is: nobody else, of whatever rank."""
    who, service = SERVICES[verb]
    other = "second_coordinator" if who != "coordinator" else "volunteer"
    before = everything()
    with pytest.raises(PermissionDenied):
        service(scene, scene.cast.person(other))
    assert everything() == before
