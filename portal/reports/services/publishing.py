"""Publishing a report: from then on neither its figures nor its file change."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from portal.accounts.access import NOBODY, Person, require
from portal.accounts.languages import speaking_to
from portal.audit.sealing import head, seal_waiting
from portal.audit.services import record_change
from portal.jobs.kinds import JobProblem, Outcome, job_kind
from portal.jobs.models import Job
from portal.jobs.queries import starter_of
from portal.jobs.services import request_job
from portal.jobs.working import Progress
from portal.reports.document import Imprint, write_pdf
from portal.reports.figures import VERSION, describe_terms
from portal.reports.identifiers import PREFIX, digest_of, identifier_of
from portal.reports.models import YearlyReport
from portal.reports.queries import earlier_edition
from portal.reports.services.making import picture_bytes, replace_file
from surveys.exporting.services import terms_of

State = YearlyReport.State
KIND = "report_publishing"


class CorrectionMissing(Exception):
    """A later edition has to say what it corrects."""


class NotReady(Exception):
    """Only a draft that was made and can be read can be published."""


@transaction.atomic
def request_publishing(*, person: Person, report: YearlyReport) -> Job:
    """Order the publishing of a draft; raises NotReady and CorrectionMissing as `publish_report` does."""
    require(person, "report.make", report)
    if report.state != State.READY:
        raise NotReady(report.get_state_display())
    if earlier_edition(report) and not report.data.get("correction"):
        raise CorrectionMissing
    return request_job(
        person=person,
        group=report.group,
        kind=KIND,
        key=f"publish {report.pk}",
        parameters={"report": str(report.pk)},
        label=_("Publish the report on %(year)d") % {"year": report.year},
        link=reverse("report_detail", args=[report.group.slug, report.pk]),
    )


@job_kind(KIND, label=gettext_lazy("Publishing a report"))
def publish_in_background(job: Job, progress: Progress) -> None:
    """The job: the report and the end of the job change together."""
    person = starter_of(job)
    report = YearlyReport.objects.of_group(job.group).get(pk=job.parameters["report"])
    progress(0, 0, _("Setting the pages"))
    seal_waiting()
    try:
        with transaction.atomic():
            publish_report(person=person or NOBODY, report=report)
            progress.finish(Outcome(summary=_("The report is published. Its address stays as it is.")))
    except CorrectionMissing as missing:
        raise JobProblem(_("It cannot be published before it says what was corrected.")) from missing
    except NotReady as state:
        words = _("It cannot be published, because its state is: %(state)s.") % {"state": state}
        raise JobProblem(words) from state


@transaction.atomic
def publish_report(*, person: Person, report: YearlyReport) -> YearlyReport:
    """Set the pages anew from the frozen figures, without the draft mark, and put them before the public.

    Raises NotReady for a report that is not a finished draft, and CorrectionMissing for a later edition that
    does not say what it corrects.
    """
    require(person, "report.make", report)
    # Locked, because a draft ordered anew meanwhile would be published unread.
    found = YearlyReport.objects.of_group(report.group).select_for_update(of=("self",))
    locked = found.select_related("group", "picture").get(pk=report.pk)
    if locked.state != State.READY:
        raise NotReady(locked.get_state_display())
    if locked.data.get("version") != VERSION:
        raise NotReady(_("made before the portal was changed; make it anew"))
    if not _on_terms_of_today(locked):
        raise NotReady(_("made before the group changed on what terms it publishes; make it anew"))
    if earlier_edition(locked) and not locked.data.get("correction"):
        raise CorrectionMissing
    # Frozen with the figures: whoever keeps the report can tell an audit trail that was cut or made anew.
    if (end := head()).number:
        locked.data["trail"] = str(end)
    _seal(locked, now := timezone.now())
    locked.state, locked.published_at, locked.published_by_id = State.PUBLISHED, now, person.user_id
    # From now on nothing may touch the row, and a job might be cleared away some day.
    locked.job = None
    locked.save()
    record_change(
        actor=person, verb="report.published", thing=locked, changes={"state": [State.READY, State.PUBLISHED]}
    )
    return locked


def _on_terms_of_today(report: YearlyReport) -> bool:
    """Whether the draft grants what the group's open data grants: the same licence, source and exactness."""
    with speaking_to(group=report.group):
        return bool(report.data["terms"] == describe_terms(terms_of(report.group)))


def _seal(report: YearlyReport, now: datetime) -> None:
    """Give it identifier and digest and set its pages with them; the figures are those of the row."""
    report.identifier = identifier_of(report.group.slug, report.year, report.edition)
    report.digest = digest_of(report.data)
    imprint = Imprint(
        identifier=report.identifier,
        address=settings.BASE_URL
        + reverse("report_by_identifier", args=[report.identifier.removeprefix(PREFIX)]),
        digest=report.digest,
        picture=picture_bytes(report),
    )
    day = timezone.localdate(now)
    replace_file(report, write_pdf(report.data, edition=report.edition, published_on=day, imprint=imprint))
