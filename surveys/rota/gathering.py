"""What the solver is told: who offers what and has what, read with a fixed number of queries."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from uuid import UUID

from django.db.models import Max, Q

from portal.accounts.models import Group, Membership
from portal.accounts.queries import members_of
from portal.accounts.walls import wide
from surveys.models import Site, Visit
from surveys.people.models import Permit
from surveys.people.queries import minor_user_ids, trainings_of
from surveys.rota.models import LIVE, Assignment, Availability, NamedDays
from surveys.rota.volunteers import Month, Place, Span, Volunteer, month_of

# What counts as load: the visits in hand from two months before, so that last month's work is not forgotten.
LOOK_BACK = timedelta(days=60)
# Whoever may lead a pair may sample too; first aid or a sharp eye for families is no leave to stand in a river.
MAY_GO = (Permit.SAMPLE, Permit.LEAD)


def volunteers_of(
    group: Group, first_day: date, last_day: date, present: Iterable[Membership] | None = None
) -> list[Volunteer]:
    """Every present member who said when they can, with what they have in hand (8 queries).

    `present` are the group's members, where the page has read them already.
    """
    members = {each.user_id: each for each in (members_of(group) if present is None else present)}
    rows = Availability.objects.of_group(group).filter(user__in=list(members), has_said_when=True)
    offers = list(rows.prefetch_related("named_days", "near_sites").order_by("user__name"))
    people = [each.user_id for each in offers]
    trained = trained_days(group, first_day, last_day)
    busy, taken = _in_hand(group, people, first_day, last_day)
    last = last_visits(group)
    minors = minor_user_ids(group, first_day)
    return [
        _volunteer(
            offer,
            members[offer.user_id],
            is_minor=offer.user_id in minors,
            trained_on=None if trained is None else frozenset(trained.get(offer.user_id, ())),
            busy=frozenset(busy[offer.user_id]),
            taken=taken[offer.user_id],
            last_there=last.get(offer.user_id, {}),
        )
        for offer in offers
    ]


def _volunteer(offer: Availability, member: Membership, **known: object) -> Volunteer:
    point = (offer.latitude, offer.longitude)
    home = None if point[0] is None or point[1] is None else (float(point[0]), float(point[1]))
    return Volunteer(
        user_id=offer.user_id,
        name=member.user.name,
        weekdays=frozenset(offer.weekdays),
        can=_spans(offer, NamedDays.Kind.CAN),
        away=_spans(offer, NamedDays.Kind.AWAY),
        most_a_month=offer.most_a_month,
        home=home,
        travel_km=offer.travel_km,
        near_sites=frozenset(each.pk for each in offer.near_sites.all()),
        **known,  # type: ignore[arg-type]
    )


def _spans(offer: Availability, kind: str) -> tuple[Span, ...]:
    return tuple((each.first_day, each.last_day) for each in offer.named_days.all() if each.kind == kind)


def trained_days(group: Group, first_day: date, last_day: date) -> dict[UUID, set[date]] | None:
    """The days of the span on which each member may sample; None where the group keeps no such record."""
    # One read for the whole span: asked day by day, a proposal over half a year would ask 180 times.
    trainings = list(trainings_of(group).filter(kind__permits__in=MAY_GO))
    # To a group that keeps no record this cannot mean that nobody may go.
    if not trainings:
        return None
    found: dict[UUID, set[date]] = defaultdict(set)
    for each in trainings:
        begin = max(first_day, each.trained_on)
        end = min(last_day, each.valid_until or last_day)
        found[each.membership.user_id] |= {begin + timedelta(days=n) for n in range((end - begin).days + 1)}
    return found


@wide("nobody goes to two places on one day, whoever asked them")
def _in_hand(
    group: Group, people: Sequence[UUID], first_day: date, last_day: date
) -> tuple[dict[UUID, set[date]], dict[UUID, Mapping[Month, int]]]:
    """Days on which people go somewhere, for any group, and their visits of each month for this one."""
    wanted = Q(state__in=LIVE) | Q(state=Assignment.State.PROPOSED, planned__group=group)
    rows = Assignment.objects.across_groups("nobody goes to two places on one day, whoever asked them")
    rows = rows.filter(wanted, user__in=people).exclude(planned__state="cancelled")
    rows = rows.filter(day__gte=first_day - LOOK_BACK, day__lte=last_day + LOOK_BACK)
    busy: dict[UUID, set[date]] = defaultdict(set)
    taken: dict[UUID, Counter[Month]] = defaultdict(Counter)
    for user_id, day, owner in rows.values_list("user_id", "day", "planned__group_id"):
        # That somebody is busy is all that another group learns of it.
        busy[user_id].add(day)
        if owner == group.pk:
            taken[user_id][month_of(day)] += 1
    return busy, {each: taken[each] for each in people}


def last_visits(group: Group) -> dict[UUID, dict[UUID, date]]:
    """The last day each person was at each site, as recorder or partner (one query)."""
    made = Visit.objects.of_group(group).filter(was_made=True)
    found: dict[UUID, dict[UUID, date]] = defaultdict(dict)
    recorders, partners = (
        made.exclude(**{part: None}).values_list(part, "site_id").annotate(last=Max("visited_on")).order_by()
        for part in ("recorder_id", "partner_id")
    )
    for user_id, site_id, day in recorders.union(partners, all=True):
        found[user_id][site_id] = max(day, found[user_id].get(site_id, day))
    return found


def place_of_site(site: Site) -> Place:
    """A site as the solver sees it."""
    return Place(site.pk, site.latitude, site.longitude)
