"""How each rule has done in one group: how often it spoke, and what became of what it said."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Q

from portal.accounts.models import Group
from surveys.models import Finding
from surveys.rules import RULES, Rule, Severity, rule_named

# Two years hold every season twice, and rules or sites of long ago say little of today's.
LOOKS_BACK = timedelta(days=730)
# Nine of ten dismissed is noise, once there are enough to say so: common practice, no source.
DECIDED_TO_TELL = 10
NOISY_SHARE = 0.9


@dataclass(frozen=True)
class RuleCount:
    """Findings of one rule: `accepted` were right as recorded, `mended` were corrected, `waiting` are open."""

    rule: Rule
    accepted: int = 0
    mended: int = 0
    waiting: int = 0

    @property
    def raised(self) -> int:
        return self.accepted + self.mended + self.waiting

    @property
    def decided(self) -> int:
        return self.accepted + self.mended

    @property
    def is_noisy(self) -> bool:
        """Whether at least nine of ten of what it said was dismissed."""
        return self.decided >= DECIDED_TO_TELL and self.accepted >= NOISY_SHARE * self.decided


def rule_counts(group: Group, now: datetime) -> list[RuleCount]:
    """Every rule that makes findings, the most dismissed first, then those that spoke most (one query)."""
    spoken = {each.rule.id: each for each in _spoken(group, now - LOOKS_BACK)}
    silent = [RuleCount(rule) for rule in RULES if rule.severity == Severity.FINDING and rule.id not in spoken]
    return [*sorted(spoken.values(), key=_urgency), *silent]


def _spoken(group: Group, since: datetime) -> list[RuleCount]:
    Decision = Finding.Decision
    findings = Finding.objects.of_group(group).filter(visit__submitted_at__gte=since)
    rows = findings.values("rule").annotate(
        accepted=Count("pk", filter=Q(decision=Decision.ACCEPTED)),
        mended=Count("pk", filter=Q(decision=Decision.MENDED)),
        waiting=Count("pk", filter=Q(decision=Decision.OPEN)),
    )
    # A rule that was retired since has nothing left to be made quieter.
    known = ((rule_named(row["rule"]), row) for row in rows.order_by("rule"))
    return [RuleCount(rule, row["accepted"], row["mended"], row["waiting"]) for rule, row in known if rule]


def _urgency(each: RuleCount) -> tuple[bool, int, str]:
    return (not each.is_noisy, -each.raised, str(each.rule.title))
