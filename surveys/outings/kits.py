"""Where kits were last, how they were cleaned since, and whether they may go to another water."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from portal.accounts.models import Group
from portal.accounts.scoping import GroupOwnedQuerySet
from surveys.models import Kit, KitCleaning, Site, Visit
from surveys.models.outings import DRYING_DAYS, CleaningMethod

# Work at once; Anderson et al. 2015: hot water of 45 °C for 15 min killed 99 % within an hour.
AT_ONCE = frozenset({CleaningMethod.HOT_WATER, CleaningMethod.DISINFECTED})


@dataclass(frozen=True)
class KitUse:
    """Where a kit was, and when."""

    site: Site
    on: date


@dataclass(frozen=True)
class KitState:
    """A kit with its last use up to a day, and what was done to it since (newest first)."""

    kit: Kit
    last_use: KitUse | None = None
    cleanings: tuple[KitCleaning, ...] = ()
    drying_days: int = DRYING_DAYS

    @property
    def last_cleaning(self) -> KitCleaning | None:
        return self.cleanings[0] if self.cleanings else None

    def is_clean(self, day: date) -> bool:
        """Whether a cleaning since the last use has done its work by `day`.

        A cleaning on the very day of the last use is taken to have come after it.
        """
        return any(self._works(each, day) for each in self.cleanings)

    def _works(self, cleaning: KitCleaning, day: date) -> bool:
        if self.last_use and cleaning.cleaned_on < self.last_use.on:
            return False
        if cleaning.method == CleaningMethod.DRIED:
            return cleaning.cleaned_on + timedelta(days=self.drying_days) <= day
        return cleaning.method in AT_ONCE and cleaning.cleaned_on <= day

    def warning(self, site: Site, day: date) -> str:
        """Why the kit should not go to `site` on `day`, or nothing."""
        if self.last_use is None or same_water(self.last_use.site, site) or self.is_clean(day):
            return ""
        return _(
            "%(kit)s was last in %(water)s (%(site)s, %(day)s) and is not known to be clean since. Wash it "
            "hot, disinfect it by your local rules, or let it dry for %(days)s days before it goes to another "
            "water."
        ) % {
            "kit": self.kit.name,
            "water": self.last_use.site.water,
            "site": self.last_use.site.code,
            "day": date_format(self.last_use.on, "j F Y"),
            "days": self.drying_days,
        }


def same_water(one: Site, other: Site) -> bool:
    """Whether kit may go from one to the other as it is: same catchment, or same river where one lacks it."""
    both = one.catchment.strip() and other.catchment.strip()
    first, second = (one.catchment, other.catchment) if both else (one.river, other.river)
    return first.strip().casefold() == second.strip().casefold()


def kits_of(group: Group) -> GroupOwnedQuerySet[Kit]:
    """The group's kits in use, by name."""
    return Kit.objects.of_group(group).filter(retired_at=None)


def kit_states(
    group: Group, kits: list[Kit], day: date, drying_days: int, besides: UUID | None = None
) -> list[KitState]:
    """The state of each kit on `day`, the visit `besides` left out (two queries)."""
    uses = _last_uses(group, kits, day, besides)
    cleanings: dict[UUID, list[KitCleaning]] = defaultdict(list)
    for each in KitCleaning.objects.of_group(group).filter(kit__in=kits, cleaned_on__lte=day):
        use = uses.get(each.kit_id)
        if use is None or each.cleaned_on >= use.on:
            cleanings[each.kit_id].append(each)
    return [KitState(kit, uses.get(kit.pk), tuple(cleanings[kit.pk]), drying_days) for kit in kits]


def _last_uses(group: Group, kits: list[Kit], day: date, besides: UUID | None) -> dict[UUID | None, KitUse]:
    # A visit that could not be made kept the kit dry.
    visits = Visit.objects.of_group(group).filter(kit__in=kits, was_made=True, visited_on__lte=day)
    others = visits.exclude(pk=besides) if besides else visits
    newest = others.order_by("kit_id", "-visited_on", "-submitted_at").distinct("kit_id")
    return {each.kit_id: KitUse(each.site, each.visited_on) for each in newest.select_related("site")}


@dataclass(frozen=True)
class KitEvent:
    """One line of a kit's history: a visit, or a cleaning."""

    on: date
    visit: Visit | None = None
    cleaning: KitCleaning | None = None


def history_of_kit(kit: Kit) -> list[KitEvent]:
    """Every use and cleaning, newest first; a cleaning stands after the use of the same day (two queries)."""
    visits = kit.visits.filter(was_made=True).select_related("site", "recorder")
    uses = [KitEvent(each.visited_on, visit=each) for each in visits]
    cleanings = [
        KitEvent(each.cleaned_on, cleaning=each) for each in kit.cleanings.select_related("cleaned_by")
    ]
    return sorted(uses + cleanings, key=lambda each: (each.on, each.cleaning is not None), reverse=True)
