"""Taking in visits: the one way in for page, API and spreadsheet; mending and correcting them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from portal.accounts.access import Person, acting_id, require
from portal.accounts.prepared import planned
from portal.accounts.walls import wide
from portal.audit.services import record_change
from surveys.errors import Conflict, NotPossible, need_text
from surveys.models import ImportRun, Visit
from surveys.models.visits import Source, Status
from surveys.past.contexts import Surroundings
from surveys.scores.scored import rescore_visit
from surveys.services.findings import decide_finding, renew_findings
from surveys.services.review import approve_visit, locked, require_seen, return_visit
from surveys.services.saving import check, require_same_site, rewrite_parts, tell, visit_fields
from surveys.services.taking_in import Coming, take_in
from surveys.submission.types import Submission
from surveys.submission.writing import Changes, differences, submission_of

__all__ = [
    "Receipt",
    "approve_visit",
    "correct_visit",
    "decide_finding",
    "mend_visit",
    "return_visit",
    "submit_visit",
    "submit_visits",
]


@dataclass(frozen=True)
class Receipt:
    """The answer to a submission: the visit, and whether this very call made it."""

    visit: Visit
    is_new: bool


def submit_visit(
    *,
    person: Person,
    submission: Submission,
    import_run: ImportRun | None = None,
    past_record: bool = False,
    source: str = Source.FORM,
) -> Receipt:
    """Check, save, score and tell of a visit in one transaction; a resend gets the first result again.

    Raises InvalidSubmission for errors, Conflict when the number is somebody else's, PermissionDenied where the
    person may not. Past records need the right to import; they are scored but send no alert.
    """
    coming = Coming(person, import_run, past_record, source)
    return submit_visits(coming, [submission])[0]


def submit_visits(
    coming: Coming, submissions: Sequence[Submission], around: Surroundings | None = None
) -> list[Receipt]:
    """The same of several visits to one group in one transaction: each with its receipt, or none is taken in.

    Raises what `submit_visit` raises, for the first of them that gives reason to; `around` as for `take_in`.
    """
    numbers = [each.id for each in submissions]
    there: dict[UUID, Visit] = {}
    while True:
        known = there.keys()
        try:
            with transaction.atomic():
                there = _first_results(coming.person, numbers)
                new = take_in(coming, [each for each in submissions if each.id not in there], around)
                break
        except IntegrityError:
            # A number was sent twice at once and the other call came first: its result is the answer.
            there, around = _first_results(coming.person, numbers), None
            if there.keys() == known:
                raise
    visits = there | {each.pk: each for each in new}
    return [Receipt(visits[number], is_new=number not in there) for number in numbers]


@wide("a number made by a client may be anybody's")
def _first_results(person: Person, numbers: Collection[UUID]) -> dict[UUID, Visit]:
    there = _taken(tuple(numbers))
    # Even a colleague's number is no answer: two clients never make the same one by chance.
    if not all(person.is_member(group) and typist == person.user_id for _number, group, typist in there):
        raise Conflict
    if not there:
        return {}
    found = Visit.objects.across_groups("the person's own").filter(pk__in=[number for number, *_of in there])
    return {visit.pk: visit for visit in found.select_related("site", "group").order_by()}


@planned
def _taken(numbers: tuple[UUID, ...]) -> QuerySet[Visit, tuple[UUID, UUID, UUID]]:
    """Which of these numbers visits have: of which group, and typed by whom."""
    found = Visit.objects.across_groups("a number made by a client may be anybody's").filter(pk__in=numbers)
    return found.order_by().values_list("pk", "group_id", "entered_by_id")


@transaction.atomic
def mend_visit(*, person: Person, visit: Visit, submission: Submission, revision: int | None = None) -> Visit:
    """Take in what the recorder mended of a visit that waits or was returned; it waits to be checked again.

    `revision` is the visit's own when the person was shown it; one that was changed since is refused, as what
    somebody else put right would be undone unseen.
    """
    mended = locked(visit)
    require(person, "visit.mend", mended)
    require_seen(mended, revision)
    if mended.status == Status.APPROVED:
        raise NotPossible(_("This visit is approved: ask a coordinator to correct it."))
    return _revise(person, mended, submission, "mended", "")


@transaction.atomic
def correct_visit(
    *, person: Person, visit: Visit, submission: Submission, reason: str, revision: int | None = None
) -> Visit:
    """Correct a visit: what changed stays visible, it is scored anew and waits for somebody else's approval.

    `revision` as for `mend_visit`.
    """
    corrected = locked(visit)
    require(person, "visit.correct", corrected)
    require_seen(corrected, revision)
    # Someone else's record is changed here; the recorder has a right to know why.
    why = need_text(reason, "reason", _("Say why you correct this: it stays visible beside what changed."))
    return _revise(person, corrected, submission, "corrected", why)


def _revise(person: Person, visit: Visit, submission: Submission, event: str, reason: str) -> Visit:
    require_same_site(visit, submission)
    # A form that shows no recorder must not take the recorder's name off.
    before = submission_of(visit)
    after = replace(submission, recorder=submission.recorder or before.recorder)
    changes = differences(before, after)
    # Of a visit that was returned, "all is right" is an answer.
    if not changes and (event == "corrected" or visit.status == Status.WAITING):
        raise NotPossible(_("Nothing was changed. Change something, or leave the correction."))
    checked = check(after, visit.site, past_record=visit.is_past_record, visit=visit)
    _save_revision(person, visit, after)
    renew_findings(visit, checked.findings, person, reason or _("mended by the recorder"))
    rescore_visit(visit, after.counts)
    _record_revision(person, visit, event, changes, reason)
    return visit


def _save_revision(person: Person, visit: Visit, submission: Submission) -> None:
    for name, value in visit_fields(submission).items():
        setattr(visit, name, value)
    # An approval holds for what was seen, not for what was changed since.
    visit.status = Status.WAITING
    visit.reviewed_by = None
    visit.reviewed_at = None
    # Of a row that is locked: nobody else counts meanwhile.
    visit.revision += 1
    visit.save()
    rewrite_parts(visit, submission)
    # Whoever changes a record becomes one of its authors, so that somebody else approves it.
    visit.corrected_by.add(acting_id(person))  # type: ignore[arg-type]


def _record_revision(person: Person, visit: Visit, event: str, changes: Changes, reason: str) -> None:
    record_change(actor=person, verb=f"visit.{event}", thing=visit, changes=changes, reason=reason)
    tell(visit, event, person)
