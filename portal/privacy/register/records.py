"""What is kept of people in the records of rivers and of incidents."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from portal.privacy.kept import End, Held, Kept, Limit
from portal.privacy.limits import DRAFT_DAYS, erase_drafts

POSITION = ("position_latitude", "position_longitude", "position_accuracy_m")

RECORDS = (
    Kept(
        key="visits",
        what=_(
            "Visits: who recorded and who was there, what was noted, and a position that somebody confirmed"
        ),
        why=_("A record counts for something only where it is known who made it, when and where."),
        how_long=_("As long as the group keeps its records; they are compared over decades."),
        at_erasure=_("Counts, scores, notes and positions stay under the pseudonym."),
        held=(
            Held("surveys.Visit", "recorder", ("recorder_name",), End.NAME, tell=("visited_on", "site__code")),
            Held(
                "surveys.Visit",
                "recorder",
                ("pollution_signs", "notes", *POSITION),
                tell=("visited_on", "site__code"),
            ),
            Held("surveys.Visit", "partner", ("partner_name",), End.NAME, tell=("visited_on", "site__code")),
            Held("surveys.Visit", "reviewed_by", ("review_message",), tell=("visited_on", "site__code")),
            Held("surveys.Visit", "entered_by", tell=("visited_on", "site__code", "submitted_at")),
        ),
    ),
    Kept(
        key="drafts",
        what=_("Drafts: what you are still typing"),
        why=_("So that nothing typed is lost."),
        how_long=_("Until it is sent or thrown away; 180 days when nobody goes on with it."),
        at_erasure=_("They go, with their pictures."),
        held=(Held("surveys.Draft", "entered_by", ("data",), End.DELETE, tell=("updated_at",)),),
        limit=Limit(DRAFT_DAYS, erase_drafts, choosable="draft_days"),
    ),
    Kept(
        key="pictures",
        what=_(
            "Pictures of visits, with their captions; all else that a camera adds is taken out as they come in"
        ),
        why=_("A picture shows the river and the animals as they were."),
        how_long=_("As long as the visit is kept."),
        at_erasure=_(
            "Pictures stay with the visit, without your name. Ask for one that shows you to be removed first."
        ),
        held=(Held("surveys.Photo", "added_by", ("file", "caption"), tell=("added_at",)),),
    ),
    Kept(
        key="checking",
        what=_("Questions and answers about visits, reasons of decisions, notes on kits, levels of rivers"),
        why=_("Whoever uses a record must be able to see how it was checked."),
        how_long=_("As long as the group keeps its records."),
        at_erasure=_("The words stay under the pseudonym; names in them give way to it."),
        held=(
            Held("surveys.VisitQuestion", "asked_by", ("text",)),
            Held("surveys.VisitQuestion", "asked_of", ("answer",)),
            Held("surveys.Finding", "decided_by", ("decision_reason",)),
            Held("surveys.KitCleaning", "cleaned_by", ("note",)),
            Held("surveys.RiverReport", "reported_by", tell=("site__code",)),
            Held("alerts.QuietPeriod", "set_by", ("reason",)),
            Held("alerts.Trigger", "set_by", ("reason",)),
            Held("alerts.Verdict", "tested_anyway_by", ("tested_anyway_reason",)),
        ),
    ),
    Kept(
        key="rota",
        what=_("The rota: who goes when, why a place is open"),
        why=_("So that everybody knows who goes."),
        how_long=_("As long as the group keeps its records."),
        at_erasure=_("Past visits stay under the pseudonym; others are asked for those to come."),
        held=(Held("rota.Assignment", "user", ("why",), tell=("day", "state")),),
        others=("rota.PlannedVisit.open_because", "rota.PlannedVisit.cancelled_why", "rota.Proposal.left_out"),
    ),
    Kept(
        key="incidents",
        what=_("Incidents: who took each step and what they noted, whom an alert was passed on to"),
        why=_("It may be evidence of a pollution, so that each step is sealed onto the one before."),
        how_long=_("As long as the group keeps its records."),
        at_erasure=_(
            "Each step stays under the pseudonym. A digest, which tells no name, keeps the seal whole."
        ),
        held=(Held("alerts.IncidentEvent", "actor", ("actor_name", "note"), tell=("at", "kind")),),
        others=(
            "alerts.Incident.acknowledged_by",
            "alerts.Incident.agency_reference",
            "alerts.Incident.outcome_note",
            "alerts.Forward.to_name",
            "alerts.Forward.to_email",
        ),
    ),
    Kept(
        key="contacts",
        what=_("People at agencies: name, organisation, e-mail address, telephone, days away"),
        why=_("They are told of an incident."),
        how_long=_("Until a coordinator takes them out; those who were told of an incident stay with it."),
        at_erasure=_(
            "Somebody with an account who is also an agency contact is asked to be taken off the list first."
        ),
        others=(
            *(
                f"alerts.AgencyContact.{each}"
                for each in ("name", "organisation", "email", "address", "phone", "duty_line")
            ),
            "alerts.AgencyContact.language",
            "alerts.ContactAbsence.note",
            "alerts.Drill.failure",
        ),
    ),
    Kept(
        key="landowners",
        what=_("Owners of land: name, conditions, and what is noted about hazards and access"),
        why=_("Nobody may walk there without their leave."),
        how_long=_("Until a coordinator changes it."),
        at_erasure=_("A coordinator takes it out when an owner asks."),
        others=tuple(
            f"surveys.Site.{each}" for each in ("landowner", "permission_conditions", "hazards", "access_notes")
        ),
    ),
    Kept(
        key="reports",
        what=_("Names in yearly reports, of those who agreed, and whatever a coordinator wrote there"),
        why=_("To thank people, and because a published report must stay what it was."),
        how_long=_("For good: a published report is frozen with its figures and a digest."),
        at_erasure=_(
            "Published reports stay as they are, and so do prints. Drafts go; later reports do not name you."
        ),
        others=(
            *(
                f"reports.YearlyReport.{each}"
                for each in ("foreword", "captions", "correction", "data", "file")
            ),
            "reports.YearlyReport.problem",
            *(f"reports.GroupPicture.{each}" for each in ("file", "alt", "credit")),
            "exporting.PublishingTerms.attribution",
            "exporting.PublishingTerms.contact_email",
        ),
    ),
)
