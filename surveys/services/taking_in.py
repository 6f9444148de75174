"""Taking in visits that nobody has yet, one or many of a sheet: checked, saved, scored and told of together."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from portal.accounts.access import Person, acting_id, require
from portal.accounts.languages import speaking_to
from portal.accounts.prepared import planned
from portal.accounts.walls import wide
from portal.audit.services import record_change_of_each
from portal.inserting import Gathered
from surveys.errors import Conflict
from surveys.lists.recording import lists_of
from surveys.models import Draft, ImportRun, RecordingList, Site, Visit
from surveys.models.visits import Source
from surveys.past.contexts import Surroundings, surroundings_for
from surveys.rules import Context, errors_in, findings_in
from surveys.scores.scored import score_visits
from surveys.services.findings import write_findings
from surveys.services.saving import insert_visits, tell_of_new, visit_fields, write_parts
from surveys.submission.types import InvalidSubmission, Problem, Submission

Said = tuple[Visit, Submission]


@dataclass(frozen=True)
class Coming:
    """By whom visits are sent, from which sheet, and by which door."""

    person: Person
    import_run: ImportRun | None = None
    past_record: bool = False
    source: str = Source.FORM

    @property
    def event(self) -> str:
        return "imported" if self.past_record or self.import_run else "submitted"

    @property
    def right(self) -> str:
        # A spreadsheet can carry many past visits in other people's names: that is a coordinator's to do.
        return "import.run" if self.event == "imported" else "visit.submit"


def take_in(
    coming: Coming, submissions: Sequence[Submission], around: Surroundings | None = None
) -> list[Visit]:
    """Check, save, score and tell of visits, in the caller's transaction: all of them or none.

    Each is held against those before it too. Several are of one group. Raises InvalidSubmission for the first
    that has errors, PermissionDenied where the person may not, Conflict for the number of another's draft.
    `around` is what they are held against, where that was read before in this transaction.
    """
    if not submissions:
        return []
    sites = _sites_of(coming, submissions)
    said = [_with_recorder(coming, each) for each in submissions]
    lists = {each.id: _list_of(each, sites[each.site]) for each in said}
    findings = _check(coming, said, sites, around)
    pairs = [(_visit(coming, each, sites[each.site], lists[each.id]), each) for each in said]
    visits = [visit for visit, _submission in pairs]
    # The visits' own rows come first: their key is what lets only one of two equal submissions through.
    rows = Gathered()
    insert_visits(visits, rows)
    write_parts(pairs, rows)
    write_findings(zip(visits, findings, strict=True), rows)
    values = score_visits([(visit, submission.counts) for visit, submission in pairs], rows)
    verb = f"visit.{coming.event}"
    record_change_of_each(actor=coming.person, verb=verb, things=visits, into=rows)
    rows.write()
    _remove_drafts(coming.person, visits)
    # Last, so that a listener finds the visits whole, with their scores.
    tell_of_new(pairs, values, coming.event, coming.person)
    return visits


def _sites_of(coming: Coming, submissions: Iterable[Submission]) -> dict[UUID, Site]:
    asked = list(dict.fromkeys(each.site for each in submissions))
    sites = {site.pk: site for site in _sites_among(tuple(asked), coming.person.group_ids)}
    for each in asked:
        if each not in sites:
            message = _("Choose a site of your group.")
            raise InvalidSubmission([Problem("site", message, "unknown_site")])
        require(coming.person, coming.right, sites[each])
    return sites


@planned
def _sites_among(asked: tuple[UUID, ...], groups: tuple[UUID, ...]) -> QuerySet[Site]:
    # The filter asks for no more of a person than their groups.
    found = Site.objects.visible_to(Person(roles=dict.fromkeys(groups, ""))).filter(pk__in=asked)
    return found.select_related("group", "recording_list").order_by()


def _with_recorder(coming: Coming, submission: Submission) -> Submission:
    # Whoever submits was there, unless they say otherwise; of the past nobody can assume so.
    if submission.recorder is None and not coming.past_record:
        return replace(submission, recorder=coming.person.user_id)
    return submission


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


def _check(
    coming: Coming, said: Sequence[Submission], sites: Mapping[UUID, Site], around: Surroundings | None
) -> list[tuple[Problem, ...]]:
    """The findings of each; raises InvalidSubmission with the errors of the first that has any."""
    person, group = coming.person, next(iter(sites.values())).group
    # Whoever sends them was found to be a member by the right that was asked for.
    known = [person.user_id] if person.user_id else []
    around = around or surroundings_for(said, sites.values(), past_record=coming.past_record, known=known)
    contexts: list[tuple[Submission, Context]] = []
    for each in said:
        context = around.context(each, sites[each.site])
        errors = errors_in(each, context)
        if errors:
            raise InvalidSubmission(errors)
        contexts.append((each, context))
        around.add(each)
    # What is asked is kept for the group, and known again by its words when somebody else corrects the visit.
    with speaking_to(group=group):
        return [findings_in(each, context) for each, context in contexts]


def _visit(coming: Coming, submission: Submission, site: Site, recording_list: RecordingList) -> Visit:
    return Visit(
        id=submission.id,
        group=site.group,
        site=site,
        recording_list=recording_list,
        entered_by_id=acting_id(coming.person),
        submitted_at=timezone.now(),
        source=Source.IMPORT if coming.import_run else coming.source,
        import_run=coming.import_run,
        is_past_record=coming.past_record,
        **visit_fields(submission),
    )


def _remove_drafts(person: Person, visits: Sequence[Visit]) -> None:
    why = "a number made by a client may be anybody's"
    by_number = {each.pk: each for each in visits}
    with wide(why):
        drafts = _drafts_among(tuple(by_number))
    _require_own(person, drafts, by_number)
    if drafts:
        # Photos stay: they carry the numbers that the visits now bear.
        group = visits[0].group
        Draft.objects.of_group(group).filter(pk__in=[number for number, *_of in drafts]).delete()


@planned
def _drafts_among(numbers: tuple[UUID, ...]) -> QuerySet[Draft, tuple[UUID, UUID, UUID]]:
    found = Draft.objects.across_groups("a number made by a client may be anybody's").filter(pk__in=numbers)
    return found.order_by().values_list("pk", "group_id", "entered_by_id")


def _require_own(
    person: Person, drafts: Collection[tuple[UUID, UUID, UUID]], visits: Mapping[UUID, Visit]
) -> None:
    for number, group, typist in drafts:
        if group != visits[number].group_id or typist != person.user_id:
            raise Conflict
