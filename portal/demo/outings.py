"""What surrounds the demo's visits: a kit for each river, how it was cleaned, and a river too high to go to."""

from __future__ import annotations

from portal.demo.settling import Settlement
from surveys.services.kits import clean_kit, save_kit
from surveys.services.rivers import report_river

COLOURS = ("Red", "Green", "Blue")


def name_kits(settlement: Settlement) -> None:
    """One bag for each river of the group, so that none carries anything over."""
    person = settlement.coordinators[0]
    rivers = sorted({plan.river for plan in settlement.plan.sites})
    for colour, river in zip(COLOURS, rivers, strict=False):
        holds = "Net, bucket, three white trays, pipette, lens, pots, throw line"
        settlement.kits[river] = save_kit(
            person=person, group=settlement.group, kit=None, name=f"{colour} bag", holds=holds
        )


def leave_kits_and_rivers(settlement: Settlement) -> None:
    """Today one kit is clean and the others are not, and the lowest site is left alone for a day."""
    person = settlement.volunteers[0]
    clean_kit(person=person, kit=next(iter(settlement.kits.values())), method="hot_water", note="In the shed.")
    last = settlement.sites[settlement.plan.sites[-1].code]
    report_river(person=person, site=last, too_high=True)
