"""Rules about who went, whether the visit was made, and whether it was safe."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from surveys.measuring.quantities import COMMON
from surveys.people.pairs import NEEDS_ADULT, lacks_adult
from surveys.rules.types import Context, Remarks, Rule, Severity
from surveys.submission.types import Submission


def _member(submission: Submission, context: Context) -> Remarks:
    for field in ("recorder", "partner"):
        named = getattr(submission, field)
        if named is not None and named not in context.members:
            yield field, _("Choose a member of this group.")


def _partner(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    if submission.partner is not None and submission.partner == submission.recorder:
        yield "partner", _("Recorder and partner are the same person. Name who went along.")


def _alone(submission: Submission, context: Context) -> Remarks:
    # Of old records only the recorder is known; a warning would come years too late.
    went_alone = submission.partner is None and not submission.partner_name
    if submission.was_made and went_alone and not context.past_record:
        yield (
            "partner_name",
            _(
                "No partner is named. Nobody should work alone in or beside moving water: go with a second "
                "adult, and follow your group's own safety rules."
            ),
        )


def _no_adult(submission: Submission, context: Context) -> Remarks:
    went = {each for each in (submission.recorder, submission.partner) if each}
    somebody_else = bool(submission.partner_name or submission.recorder_name)
    if submission.was_made and lacks_adult(context.readiness.minors, went, somebody_else=somebody_else):
        yield "partner", str(NEEDS_ADULT)


def _untrained(submission: Submission, context: Context) -> Remarks:
    known = context.readiness
    recorder, partner = submission.recorder, submission.partner
    if not submission.was_made or recorder is None or not known.keeps_trainings:
        return
    if not known.is_trained(recorder) and not known.may_supervise(partner):
        yield (
            "partner",
            _(
                "The recorder has no training in force on that day, and nobody who may supervise went along. "
                "Newcomers go out with somebody who may lead a pair."
            ),
        )


def _spate(submission: Submission, context: Context) -> Remarks:
    if submission.was_made and submission.water_level == "spate" and not context.past_record:
        yield (
            "water_level",
            _(
                "The river was in spate. If in doubt, stay out: a missed visit costs nothing. "
                "What was found also says little, since the spate may have washed animals away."
            ),
        )


def _bed_hidden(submission: Submission, context: Context) -> Remarks:
    if submission.was_made and submission.clarity == "opaque" and not context.past_record:
        yield "clarity", _("The bed could not be seen. Do not wade where you cannot see your feet.")


def _reason(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    if not submission.was_made and not submission.not_made_reason:
        yield "not_made_reason", _("Say why the visit could not be made.")
    if submission.was_made and submission.not_made_reason:
        yield "not_made_reason", _("A reason for not going is given, but the visit is marked as made.")


def _nothing_found(submission: Submission, context: Context) -> Remarks:  # noqa: ARG001
    if submission.was_made:
        return
    for field in ("counts", "spots", "measurements"):
        if getattr(submission, field):
            yield field, _("The visit is marked as not made, yet something is entered here.")


def _recorder_name(submission: Submission, context: Context) -> Remarks:
    if submission.recorder_name and not context.past_record:
        yield "recorder_name", _("Choose the recorder from the members; a bare name is for past records only.")


PEOPLE_RULES = (
    Rule(
        "not_a_member",
        gettext_lazy("Recorder or partner not a member"),
        gettext_lazy("A person without an account is named in words, as the partner."),
        Severity.ERROR,
        COMMON,
        _member,
    ),
    Rule(
        "same_person",
        gettext_lazy("Recorder and partner the same"),
        gettext_lazy("Two people go out; both are named."),
        Severity.ERROR,
        COMMON,
        _partner,
    ),
    Rule(
        "bare_recorder",
        gettext_lazy("Recorder only by name"),
        gettext_lazy("Only past records may name a recorder who has no account."),
        Severity.ERROR,
        COMMON,
        _recorder_name,
    ),
    Rule(
        "alone",
        gettext_lazy("One person alone"),
        gettext_lazy(
            "Lone work in water is dangerous, and the count goes unchecked. Talk with the recorder; your local "
            "rules and trained people decide."
        ),
        Severity.FINDING,
        COMMON,
        _alone,
    ),
    Rule(
        "no_adult",
        gettext_lazy("No adult went along"),
        gettext_lazy("Nobody under 18 goes out alone, nor two of them by themselves."),
        Severity.ERROR,
        COMMON,
        _no_adult,
    ),
    Rule(
        "untrained",
        gettext_lazy("Nobody trained"),
        gettext_lazy(
            "Asked only where the group writes trainings down. Whoever records has one in force for sampling, "
            "or goes out with somebody who may lead a pair. Look at the sample, and offer a training."
        ),
        Severity.FINDING,
        COMMON,
        _untrained,
    ),
    Rule(
        "spate",
        gettext_lazy("Sampled in spate"),
        gettext_lazy("Dangerous, and not comparable: waiting a week after heavy rain is advised."),
        Severity.FINDING,
        gettext_lazy(
            "U.S. EPA 1997, Volunteer Stream Monitoring: A Methods Manual, EPA 841-B-97-003, section 4.3."
        ),
        _spate,
    ),
    Rule(
        "bed_hidden",
        gettext_lazy("Bed not visible"),
        gettext_lazy("Wading where the bed cannot be seen is dangerous."),
        Severity.FINDING,
        COMMON,
        _bed_hidden,
    ),
    Rule(
        "not_made_reason",
        gettext_lazy("Not made, without a reason"),
        gettext_lazy("A gap must never look like a clean river: a visit not made is a record with its reason."),
        Severity.ERROR,
        COMMON,
        _reason,
    ),
    Rule(
        "not_made_yet_found",
        gettext_lazy("Not made, yet something found"),
        gettext_lazy("A visit that was not made carries no effort, no readings and no counts."),
        Severity.ERROR,
        COMMON,
        _nothing_found,
    ),
)
