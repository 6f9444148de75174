"""What a repeat visit would tell, in words and numbers, for the incident page and the offer."""

from __future__ import annotations

from django.utils.translation import gettext as _

from alerts.advice.words import percent_between
from alerts.judging.figures import figure
from alerts.judging.records import SiteRecord, site_record
from alerts.models import Verdict
from alerts.queries import values_of
from scoring.advice.repeats import RepeatAdvice, advise_repeat
from scoring.indices.methods import METHODS
from surveys.models import Visit


def advice_for(visit: Visit, verdict: Verdict, record: SiteRecord | None = None) -> RepeatAdvice | None:
    """What a repeat of this low visit would tell; None without a trigger or a baseline.

    `record` is the site's by the trigger's index, where the page has read it already.
    """
    if verdict.trigger is None or verdict.value is None:
        return None
    index = verdict.trigger.index
    record = record or site_record(visit.site, index)
    values = values_of(record.baseline(before=visit.visited_on))
    if not values:
        return None
    return advise_repeat(values, index=index, level=verdict.trigger.level, seen=verdict.value)


def repeat_words(visit: Visit, verdict: Verdict, record: SiteRecord | None = None) -> list[str]:
    """The sentences, one paragraph each; `record` as for `advice_for`."""
    advice = advice_for(visit, verdict, record)
    if advice is None:
        return [_("No earlier visit says what is usual here, so nobody can tell how sure a repeat would be.")]
    assert verdict.trigger is not None
    figures = {
        "fall": figure(advice.fall, METHODS[verdict.trigger.index]),
        "shows": percent_between(advice.shows),
        "chance": percent_between(advice.by_chance),
        "visits": advice.visits,
    }
    return [
        _(
            "If the site has truly fallen by %(fall)s points and stays so, a repeat is low again with a chance "
            "of %(shows)s. If nothing is wrong, a repeat is low by chance with %(chance)s."
        )
        % figures,
        _(
            "From %(visits)s approved visits to this site, with 95 %% intervals. A repeat that is not low does "
            "not prove that nothing happened: what was in the water may have passed."
        )
        % figures,
    ]


def cautions() -> list[str]:
    """What is said with every offer of a repeat visit (common practice, no source)."""
    return [
        _("Nobody has to go. Go with another adult, never alone, and tell somebody when you will be back."),
        _("Stay out of high, fast or clouded water. If you are in doubt, do not go in."),
        _(
            "The water may be polluted: if it smells or looks wrong, stay on the bank. Keep it off your skin, "
            "cover cuts, and wash your hands before you eat."
        ),
        _("Your group's own risk assessment and the people who trained you come before anything written here."),
        _("Dying fish or a running discharge are telephoned to the agency's incident line from the bank."),
    ]
