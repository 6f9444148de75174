"""In which stretch of the river the cause of a low score most likely lies. No database: sites as they stood."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.river.neighbours import Neighbour


@dataclass(frozen=True)
class Stretch:
    """The water above `lower`: up to the sites that were normal (`uppers`), past those that tell nothing
    (`unknown`), and without an end above the highest sites of the group (`opens`)."""

    lower: Neighbour
    uppers: list[Neighbour] = field(default_factory=list)
    unknown: list[Neighbour] = field(default_factory=list)
    opens: list[Neighbour] = field(default_factory=list)


def find_stretches(here: Neighbour) -> list[Stretch]:
    """One for each branch that was low; above the site itself where no site further up was."""
    low = _low_above(here)
    if low:
        return [stretch for each in low for stretch in find_stretches(each)]
    stretch = Stretch(here)
    _bound(here, stretch)
    return [stretch]


def _low_above(site: Neighbour) -> list[Neighbour]:
    found: list[Neighbour] = []
    for each in site.above:
        if each.is_low:
            found.append(each)
        elif not each.is_normal:
            found.extend(_low_above(each))
    return found


def _bound(site: Neighbour, stretch: Stretch) -> None:
    """Follow each branch up to a normal site, or to where the group has no further one."""
    if not site.above:
        stretch.opens.append(site)
    for each in site.above:
        if each.is_normal:
            stretch.uppers.append(each)
        else:
            stretch.unknown.append(each)
            _bound(each, stretch)


def stretch_words(here: Neighbour, stretches: list[Stretch]) -> list[str]:
    """A sentence for each stretch."""
    return [_sentence(here, each) for each in stretches]


def _sentence(here: Neighbour, stretch: Stretch) -> str:
    names = {
        "lower": stretch.lower.site.name,
        "uppers": _listed(stretch.uppers),
        "opens": _listed(stretch.opens),
    }
    start = "" if stretch.lower is here else _("%(lower)s, further up, was low too.") % names + " "
    return start + _where(stretch) % names


def _where(stretch: Stretch) -> str:
    if not stretch.uppers:
        return _(
            "The cause most likely lies above %(lower)s, how far up nobody can say: no site of the group "
            "further up was normal when last visited."
        )
    between = ngettext(
        "The cause most likely lies between %(uppers)s, which was normal when last visited, and %(lower)s",
        "The cause most likely lies above %(lower)s and below %(uppers)s, which were normal when last visited",
        len(stretch.uppers),
    )
    if not stretch.opens:
        return between + "."
    return between + _("; or else above %(opens)s, from where nothing normal is known.")


def mislead_words(here: Neighbour, stretches: list[Stretch]) -> list[str]:
    """What the sentence rests on, and what could mislead whoever follows it."""
    uppers = [each for stretch in stretches for each in stretch.uppers]
    words = [_("This rests on the latest visit to each site, held against that site's own trigger.")]
    words.append(
        _("It misleads if the cause lies at %(here)s itself or if the low count came by chance.")
        % {"here": here.site.name}
    )
    if uppers:
        words.append(
            _("Dirty water may have passed %(uppers)s on a day when nobody was there.")
            % {"uppers": _listed(uppers)}
        )
    return words + [_age_words(each) for each in uppers if each.is_old or each.days > 0]


def _age_words(site: Neighbour) -> str:
    if site.days > 0:
        words = ngettext(
            "%(site)s was visited %(days)s day after the low visit, when the water may have cleared again.",
            "%(site)s was visited %(days)s days after the low visit, when the water may have cleared again.",
            site.days,
        )
    else:
        words = ngettext(
            "The visit to %(site)s is old: %(days)s day before the low one.",
            "The visit to %(site)s is old: %(days)s days before the low one.",
            -site.days,
        )
    return words % {"site": site.site.name, "days": abs(site.days)}


def _listed(sites: list[Neighbour]) -> str:
    names = [each.site.name for each in sites]
    if len(names) < 2:
        return "".join(names)
    return _("%(most)s and %(last)s") % {"most": ", ".join(names[:-1]), "last": names[-1]}
