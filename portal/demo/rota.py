"""The demo's rota: when its people can, eight weeks planned and published, a place given up and offered."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from portal.accounts.access import Person
from portal.demo.settling import Settlement
from surveys.rota.models import Assignment
from surveys.rota.services.answers import accept_place, decline_place
from surveys.rota.services.availability import add_named_days, save_availability
from surveys.rota.services.feeds import renew_group_feed
from surveys.rota.services.proposals import propose_rota
from surveys.rota.services.publishing import publish_rota

# Days of the week, visits a month at most, how far, and a rough home in the invented catchment.
OFFERS = (
    ([5, 6], 2, 20, ("54.46", "-2.61")),
    ([0, 2, 5], 3, 25, ("54.45", "-2.59")),
    ([5], 1, 15, ("54.43", "-2.58")),
    ([1, 3, 6], 2, None, ("54.44", "-2.62")),
    ([5, 6], 2, 12, ("54.42", "-2.57")),
)
WEEKS = 8


def plan_rota(settlement: Settlement) -> None:
    """Say when people can, publish eight weeks, and let some answer; one cannot."""
    people = [*settlement.coordinators, *settlement.volunteers]
    for person, offer in zip(people, OFFERS, strict=False):
        _offer(settlement, person, *offer)
    tomorrow = timezone.localdate() + timedelta(days=1)
    coordinator = settlement.coordinators[0]
    propose_rota(person=coordinator, group=settlement.group, first_day=tomorrow, weeks=WEEKS)
    publish_rota(person=coordinator, group=settlement.group)
    renew_group_feed(person=coordinator, group=settlement.group)
    _answer(settlement, {each.user_id: each for each in people})


def _offer(
    settlement: Settlement,
    person: Person,
    weekdays: list[int],
    most: int,
    travel_km: int | None,
    home: tuple[str, str],
) -> None:
    facts = {
        "weekdays": weekdays,
        "most_a_month": most,
        "travel_km": travel_km,
        "latitude": home[0],
        "longitude": home[1],
        "first_name_in_calendar": most > 1,
    }
    save_availability(person=person, group=settlement.group, fields=facts)
    first = timezone.localdate() + timedelta(days=20 + 3 * most)
    last = first + timedelta(days=6)
    add_named_days(person=person, group=settlement.group, kind="away", first_day=first, last_day=last)


def _answer(settlement: Settlement, people: dict[object, Person]) -> None:
    rows = Assignment.objects.of_group(settlement.group).filter(state="asked").order_by("day", "user__name")
    places = list(rows.select_related("planned__site", "planned__group", "user"))
    for place in places[1:4]:
        accept_place(person=people[place.user_id], place=place)
    if places:
        decline_place(person=people[places[0].user_id], place=places[0])
