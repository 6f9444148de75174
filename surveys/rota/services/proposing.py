"""Proposing a rota in the background: ordered on the page of the draft, told step by step, stopped at once."""

from __future__ import annotations

from datetime import date, time, timedelta
from functools import partial
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils.dateparse import parse_date, parse_time
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from portal.accounts.access import NOBODY, Person, require
from portal.accounts.models import Group
from portal.jobs.kinds import JobProblem, Outcome, job_kind
from portal.jobs.models import Job
from portal.jobs.queries import starter_of
from portal.jobs.services import request_job
from portal.jobs.working import Progress
from surveys.errors import NotPossible
from surveys.rota.models import Proposal
from surveys.rota.models.plans import USUAL_START
from surveys.rota.services.proposals import check_span, propose_rota
from surveys.rota.solving import TIME_LIMIT_S

KIND = "rota"


@transaction.atomic
def request_proposal(
    *, person: Person, group: Group, first_day: date, weeks: int, start: time = USUAL_START
) -> Job:
    """Order a proposal; raises NotPossible for a span that cannot be planned, and while another is made."""
    require(person, "rota.plan", group)
    check_span(first_day, weeks)
    wanted = {"first_day": str(first_day), "weeks": weeks, "start": f"{start:%H:%M}"}
    job = request_job(
        person=person,
        group=group,
        kind=KIND,
        key=KIND,
        parameters=wanted,
        label=_("Propose a rota from %(day)s") % {"day": date_format(first_day, "j F Y")},
        total=int(TIME_LIMIT_S),
        link=reverse("rota_draft", args=[group.slug]),
    )
    if job.parameters != wanted:
        raise NotPossible(_("A proposal for other days is being made just now. Wait for it, or stop it."))
    return job


@job_kind(KIND, label=gettext_lazy("Proposal of a rota"), at_most=timedelta(minutes=10))
def propose_in_background(job: Job, progress: Progress) -> None:
    """The job: the draft and the end of the job are written together, or neither."""
    words = _("Looking for the best rota; this takes %(seconds)d seconds at most") % {"seconds": TIME_LIMIT_S}
    progress(0, int(TIME_LIMIT_S), words)
    try:
        propose_rota(
            person=starter_of(job) or NOBODY,
            group=job.group,
            **_wish(job.parameters),
            tell=lambda seconds: progress(min(int(seconds), job.total)),
            on_written=partial(_finish, progress),
        )
    except NotPossible as reason:
        raise JobProblem(reason.message) from reason
    except PermissionDenied as refused:
        raise JobProblem(_("Whoever ordered it may not plan the rota any more.")) from refused
    except IntegrityError as clash:
        raise JobProblem(_("Somebody has changed the rota meanwhile. Propose it again.")) from clash


def _wish(parameters: dict[str, Any]) -> dict[str, Any]:
    return {
        "first_day": parse_date(parameters["first_day"]),
        "weeks": parameters["weeks"],
        "start": parse_time(parameters["start"]),
    }


def _finish(progress: Progress, proposal: Proposal) -> None:
    told = {"first": date_format(proposal.first_day, "j F"), "last": date_format(proposal.last_day, "j F Y")}
    words = _("The draft for %(first)s to %(last)s is ready. Nobody is told before you publish it.")
    progress.finish(Outcome(summary=words % told))
