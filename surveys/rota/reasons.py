"""Why somebody is proposed and why a place stays open, in words for the coordinator."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from surveys.rota.solving import Filled, Slot
from surveys.rota.volunteers import Obstacle, Place, Volunteer, month_of


def why(volunteer: Volunteer, place: Place, taken: int) -> str:
    """One sentence: where they live, that they are trained, when they were there, what they have that month.

    `taken` counts their visits of that month, this one with them.
    """
    parts = [
        _distance(volunteer, place),
        _("trained") if volunteer.trained_on is not None else "",
        _last_there(volunteer, place),
        _("under 18, goes with an adult") if volunteer.is_minor else "",
    ]
    facts = capfirst(", ".join(part for part in parts if part))
    share = ngettext(
        "this is visit %(taken)s of at most %(most)s that month",
        "this is visit %(taken)s of at most %(most)s that month",
        volunteer.most_a_month,
    ) % {"taken": taken, "most": volunteer.most_a_month}
    return f"{facts}; {share}."


def _distance(volunteer: Volunteer, place: Place) -> str:
    distance = volunteer.distance_km(place)
    if distance is not None:
        # The point is known to about a kilometre, and so is said no finer.
        return _("lives about %(km)s km away") % {"km": max(1, round(distance))}
    if place.site_id in volunteer.near_sites:
        return _("says that this site is near")
    return _("has not said where they live")


def _last_there(volunteer: Volunteer, place: Place) -> str:
    day = volunteer.last_there.get(place.site_id)
    if day is None:
        return _("not there before")
    return _("last there in %(month)s") % {"month": date_format(day, "F Y")}


def reasons_of(
    found: Filled, volunteers: Sequence[Volunteer], counts: Counter[tuple[object, object]]
) -> list[str]:
    """The sentence for each person of a visit; `counts` counts on through the visits in order of their days."""
    known = {each.user_id: each for each in volunteers}
    sentences = []
    for user_id in found.people:
        volunteer, month = known[user_id], month_of(found.day)
        counts[user_id, month] += 1
        taken = volunteer.taken.get(month, 0) + counts[user_id, month]
        sentences.append(why(volunteer, found.slot.place, taken))
    return sentences


def why_open(found: Filled, volunteers: Sequence[Volunteer], silent: int) -> str:
    """What became of everybody who does not fill an open place; `silent` members never said when they can."""
    slot = found.slot
    others = [each for each in volunteers if each.user_id not in {*found.people, *slot.fixed}]
    told = Counter(_hindrance(each, slot) for each in others)
    lines = [_counted(obstacle, told[obstacle]) for obstacle in (*Obstacle, "asked", "minor") if told[obstacle]]
    if told["free"]:
        lines.append(_counted("free", told["free"]))
    if silent:
        lines.append(
            ngettext(
                "%(number)s member has not said when they can",
                "%(number)s members have not said when they can",
                silent,
            )
            % {"number": silent}
        )
    head = ngettext("%(number)s place is open", "%(number)s places are open", found.still_open) % {
        "number": found.still_open
    }
    return f"{head}: {'; '.join(lines)}." if lines else f"{head}."


def _hindrance(volunteer: Volunteer, slot: Slot) -> str:
    """The reason that came nearest to going: the last in the order of asking, over all possible days."""
    if volunteer.user_id in slot.unwilling:
        return "asked"
    found = [volunteer.obstacle(slot.place, day) for day in slot.days]
    if None in found:
        return "minor" if volunteer.is_minor and not slot.has_adult else "free"
    order = list(Obstacle)
    return max((each for each in found if each), key=order.index)


def _counted(reason: str, number: int) -> str:
    words = {
        Obstacle.UNTRAINED: ngettext("%(n)s is not trained", "%(n)s are not trained", number),
        Obstacle.TOO_FAR: ngettext("%(n)s lives too far away", "%(n)s live too far away", number),
        Obstacle.CANNOT: ngettext("%(n)s cannot on any of the days", "%(n)s cannot on any of the days", number),
        Obstacle.BUSY: ngettext("%(n)s goes elsewhere that day", "%(n)s go elsewhere that day", number),
        Obstacle.FULL: ngettext(
            "%(n)s has as many visits as they offered", "%(n)s have as many visits as they offered", number
        ),
        "asked": ngettext("%(n)s has said that they cannot", "%(n)s have said that they cannot", number),
        "minor": ngettext(
            "%(n)s is under 18 and does not go without an adult",
            "%(n)s are under 18 and do not go without an adult",
            number,
        ),
        "free": ngettext(
            "%(n)s who could is needed elsewhere or has as many visits as they offered",
            "%(n)s who could are needed elsewhere or have as many visits as they offered",
            number,
        ),
    }
    return words[reason] % {"n": number}
