"""The rota's part of the world: two planned visits with people, an open place, a swap, days and calendars."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils import timezone

from portal.accounts.models import Membership
from surveys.rota.links import CALENDAR, COVER, PLACE, REMINDERS, SWAP
from surveys.rota.models import CalendarFeed, CoverOffer, SwapOffer
from tests.conftest import Cast
from tests.factories import days_ago
from tests.rota.making import offer_days, plan, put_on

if TYPE_CHECKING:
    from tests.access.world import World


def add_rota(world: World, cast: Cast) -> None:
    """Vera and Owen are down for a visit each; a place beside Owen is open, and offered to Vera."""
    first, second = plan(cast.site, days_ago(-5)), plan(cast.site, days_ago(-40))
    place = put_on(first, cast.volunteer)
    others = put_on(second, cast.other_volunteer, state="accepted")
    offer = CoverOffer.objects.create(planned=second, user=cast.volunteer)
    swap = SwapOffer.objects.create(group=cast.group, mine=others, yours=place)
    plan(cast.site, days_ago(-80), state="draft", published_at=None)
    availability = offer_days(cast.group, cast.volunteer)
    today = timezone.localdate()
    days = availability.named_days.create(kind="away", first_day=today, last_day=today)
    feed = CalendarFeed.objects.create(user=cast.volunteer)
    CalendarFeed.objects.create(group=cast.group)
    world.values |= {"planned_id": first.pk, "place_id": place.pk, "days_id": days.pk, "offer_id": offer.pk}
    _add_links(world, {"rota_link": PLACE.make(place.pk), "cover_link": COVER.make(offer.pk)})
    own = Membership.objects.of_group(cast.group).get(user=cast.volunteer)
    _add_links(world, {"reminders_link": REMINDERS.make(own.pk)})
    _add_links(world, {"swap_link": SWAP.make(swap.pk), "rota_calendar": CALENDAR.make(feed.pk)})


def _add_links(world: World, tokens: dict[str, str]) -> None:
    steps = ("", "_accept", "_decline", "_swap", "_take", "_agree", "_refuse", "_on")
    for name, token in tokens.items():
        world.special |= {f"{name}{step}": {"token": token} for step in steps}
