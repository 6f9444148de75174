"""The demo's people: who was trained for what, whom to ring for one of them, and one enquiry."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from portal.accounts.access import Person
from portal.accounts.models import Membership
from portal.demo.settling import Settlement
from surveys.people.models import Permit, TrainingKind
from surveys.people.services.asking import Asked
from surveys.people.services.opening import write_enquiry
from surveys.people.services.records import set_emergency_contact
from surveys.people.services.trainings import Trained, add_usual_kinds, record_training

# Half way through what holds three years; the first aid of one lapses within a month.
TRAINED_DAYS_AGO = 540
LAPSES_IN = timedelta(days=24)


def welcome_people(settlement: Settlement) -> None:
    """Everybody may sample, the coordinators lead, one gives first aid; one enquiry waits for its answer."""
    coordinator, volunteer = settlement.coordinators[0], settlement.volunteers[0]
    kinds = {each.permits: each for each in add_usual_kinds(person=coordinator, group=settlement.group)}
    for person in (*settlement.coordinators, *settlement.volunteers):
        _train(settlement, person, kinds[Permit.SAMPLE])
    for person in settlement.coordinators:
        _train(settlement, person, kinds[Permit.LEAD])
    _train(settlement, volunteer, kinds[Permit.FIRST_AID], lapses=True)
    set_emergency_contact(
        person=volunteer,
        membership=_membership(settlement, volunteer),
        name="Marl Fenwright",
        phone="01632 960118",
        relation="brother",
    )
    asked = Asked(
        "Tansy Holmbeck", "tansy.holmbeck@example.org", "01632 960125", "Go along once, on a Saturday."
    )
    write_enquiry(person=volunteer, group=settlement.group, asked=asked)


def _membership(settlement: Settlement, person: Person) -> Membership:
    rows = Membership.objects.of_group(settlement.group).select_related("user", "group")
    return rows.get(user=person.user_id)


def _train(settlement: Settlement, person: Person, kind: TrainingKind, *, lapses: bool = False) -> None:
    today = timezone.localdate()
    trained = Trained(
        kind=kind.pk,
        trained_on=today - timedelta(days=TRAINED_DAYS_AGO),
        trainer_name="Sedge Alderley",
        valid_until=today + LAPSES_IN if lapses else None,
        evidence="Kicked three spots to plan." if kind.permits == Permit.SAMPLE else "Certificate seen.",
    )
    membership = _membership(settlement, person)
    record_training(person=settlement.coordinators[0], membership=membership, trained=trained)
