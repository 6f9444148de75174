"""Every rule a visit is checked by, with its reason and source. Errors stop a submission, findings go along."""

from __future__ import annotations

from collections.abc import Iterator

from surveys.rules.counting import COUNTING_RULES
from surveys.rules.dates import DATE_RULES
from surveys.rules.kicking import KICKING_RULES
from surveys.rules.measured import MEASURED_RULES
from surveys.rules.outings import OUTING_RULES
from surveys.rules.past import PAST_RULES
from surveys.rules.people import PEOPLE_RULES
from surveys.rules.position import POSITION_RULES
from surveys.rules.reading import READING_RULES, SERVICE_RULES
from surveys.rules.timing import TIMING_RULES
from surveys.rules.types import Checked, Context, Rule, Severity, SiteHistory
from surveys.submission.types import Problem, Submission

__all__ = [
    "RULES",
    "Checked",
    "Context",
    "Rule",
    "Severity",
    "SiteHistory",
    "check_submission",
    "errors_in",
    "findings_in",
    "rule_named",
]

RULES: tuple[Rule, ...] = (
    *READING_RULES,
    *SERVICE_RULES,
    *DATE_RULES,
    *PEOPLE_RULES,
    *OUTING_RULES,
    *POSITION_RULES,
    *KICKING_RULES,
    *TIMING_RULES,
    *MEASURED_RULES,
    *COUNTING_RULES,
    *PAST_RULES,
)


def rule_named(rule_id: str) -> Rule | None:
    """The rule of that id; None for one that was retired since a finding was written."""
    return next((rule for rule in RULES if rule.id == rule_id), None)


def check_submission(submission: Submission, context: Context) -> Checked:
    """Apply every rule; nothing is read from the database here."""
    return Checked(errors_in(submission, context), findings_in(submission, context))


def errors_in(submission: Submission, context: Context) -> tuple[Problem, ...]:
    """What stops it, in words for whoever sends it."""
    return tuple(_remarks(Severity.ERROR, submission, context))


def findings_in(submission: Submission, context: Context) -> tuple[Problem, ...]:
    """What is unusual and goes along, in words that are kept."""
    return tuple(_remarks(Severity.FINDING, submission, context))


def _remarks(severity: Severity, submission: Submission, context: Context) -> Iterator[Problem]:
    # All of them, not only the first: whoever typed it wants to mend everything in one go.
    for rule in RULES:
        if rule.check and rule.severity == severity:
            yield from (Problem(field, message, rule.id) for field, message in rule.check(submission, context))
