"""Taking in visits: the one way in for page, API and spreadsheet; mending and correcting them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, require
from portal.accounts.walls import wide
from portal.audit.services import record_change
from surveys.judging import rescore_visit, score_visit
from surveys.models import Draft, ImportRun, RecordingList, Site, Visit
from surveys.models.visits import Source, Status
from surveys.recording_lists import lists_of
from surveys.services.errors import Conflict, NotPossible, need_text
from surveys.services.findings import decide_finding, renew_findings, write_findings
from surveys.services.review import approve_visit, locked, return_visit
from surveys.services.saving import (
    acting_id,
    check,
    require_same_site,
    rewrite_parts,
    tell,
    visit_fields,
    write_parts,
)
from surveys.submission.types import InvalidSubmission, Problem, Submission
from surveys.submission.writing import Changes, differences, submission_of

__all__ = [
    "Receipt",
    "approve_visit",
    "correct_visit",
    "decide_finding",
    "mend_visit",
    "return_visit",
    "submit_visit",
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
    try:
        with transaction.atomic():
            first = _first_result(person, submission.id)
            if first:
                return Receipt(first, is_new=False)
            return Receipt(_take_in(person, submission, import_run, past_record, source), is_new=True)
    except IntegrityError:
        # The same number was sent twice at once and the other call came first: its result is the answer.
        first = _first_result(person, submission.id)
        if first is None:
            raise
        return Receipt(first, is_new=False)


@wide("a number made by a client may be anybody's")
def _first_result(person: Person, number: UUID) -> Visit | None:
    found = Visit.objects.across_groups("a number made by a client may be anybody's").filter(pk=number)
    visit = found.select_related("site", "group").first()
    # Even a colleague's number is no answer: two clients never make the same one by chance.
    if visit and not (person.is_member(visit.group_id) and visit.entered_by_id == person.user_id):
        raise Conflict
    return visit


def _take_in(
    person: Person, submission: Submission, import_run: ImportRun | None, past_record: bool, source: str
) -> Visit:
    site = _site_of(person, submission)
    # A spreadsheet can carry many past visits in other people's names: that is a coordinator's to do.
    is_import = past_record or import_run is not None
    require(person, "import.run" if is_import else "visit.submit", site)
    # Whoever submits was there, unless they say otherwise; of the past nobody can assume so.
    if submission.recorder is None and not past_record:
        submission = replace(submission, recorder=person.user_id)
    recording_list = _list_of(submission, site)
    checked = check(submission, site, past_record=past_record)
    visit = _create(person, submission, site, recording_list, import_run, past_record, source)
    # The visit's row comes first: its key is what lets only one of two equal submissions through.
    write_parts(visit, submission)
    write_findings(visit, checked.findings)
    score_visit(visit, submission.counts)
    _remove_draft(person, visit)
    event = "imported" if is_import else "submitted"
    record_change(actor=person, verb=f"visit.{event}", thing=visit)
    # Last, so that a listener finds the visit whole, with its scores.
    tell(visit, event, person)
    return visit


def _site_of(person: Person, submission: Submission) -> Site:
    found = Site.objects.visible_to(person).select_related("group", "recording_list")
    site = found.filter(pk=submission.site).first()
    if site is None:
        raise InvalidSubmission([Problem("site", _("Choose a site of your group."), "unknown_site")])
    return site


def _list_of(submission: Submission, site: Site) -> RecordingList:
    """The list that the visit was recorded on; a form may have left home before the site was given another."""
    if submission.recording_list in (None, site.recording_list_id):
        return site.recording_list
    found = lists_of(site.group).filter(pk=submission.recording_list).first()
    if found is None:
        message = _(
            "This recording list is not one of your group's. Open the form anew where there is a network."
        )
        raise InvalidSubmission([Problem("recording_list", message, "unknown_list")])
    return found


def _create(
    person: Person,
    submission: Submission,
    site: Site,
    recording_list: RecordingList,
    import_run: ImportRun | None,
    past_record: bool,
    source: str,
) -> Visit:
    return Visit.objects.create(
        id=submission.id,
        group=site.group,
        site=site,
        recording_list=recording_list,
        entered_by_id=acting_id(person),
        submitted_at=timezone.now(),
        source=Source.IMPORT if import_run else source,
        import_run=import_run,
        is_past_record=past_record,
        **visit_fields(submission),
    )


def _remove_draft(person: Person, visit: Visit) -> None:
    with wide("a number made by a client may be anybody's"):
        draft = Draft.objects.across_groups("as anybody's").filter(pk=visit.pk).first()
    if draft is None:
        return
    if draft.group_id != visit.group_id or draft.entered_by_id != person.user_id:
        raise Conflict
    # Photos stay: they carry the number that the visit now bears.
    draft.delete()


@transaction.atomic
def mend_visit(*, person: Person, visit: Visit, submission: Submission) -> Visit:
    """Take in what the recorder mended of a returned visit; it waits to be checked again."""
    mended = locked(visit)
    require(person, "visit.mend", mended)
    if mended.status != Status.RETURNED:
        raise NotPossible(_("Only a visit that was returned to you can be mended."))
    return _revise(person, mended, submission, "mended", "")


@transaction.atomic
def correct_visit(*, person: Person, visit: Visit, submission: Submission, reason: str) -> Visit:
    """Correct a visit: what changed stays visible, it is scored anew and waits for somebody else's approval."""
    corrected = locked(visit)
    require(person, "visit.correct", corrected)
    # Someone else's record is changed here; the recorder has a right to know why.
    why = need_text(reason, "reason", _("Say why you correct this: it stays visible beside what changed."))
    return _revise(person, corrected, submission, "corrected", why)


def _revise(person: Person, visit: Visit, submission: Submission, event: str, reason: str) -> Visit:
    require_same_site(visit, submission)
    # A form that shows no recorder must not take the recorder's name off.
    before = submission_of(visit)
    after = replace(submission, recorder=submission.recorder or before.recorder)
    changes = differences(before, after)
    if event == "corrected" and not changes:
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
    visit.save()
    rewrite_parts(visit, submission)
    # Whoever changes a record becomes one of its authors, so that somebody else approves it.
    visit.corrected_by.add(acting_id(person))  # type: ignore[arg-type]


def _record_revision(person: Person, visit: Visit, event: str, changes: Changes, reason: str) -> None:
    record_change(actor=person, verb=f"visit.{event}", thing=visit, changes=changes, reason=reason)
    tell(visit, event, person)
