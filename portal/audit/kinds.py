"""What kind of record each watched table holds, in the words of volunteers."""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from portal.audit.models import RowChange

KINDS: dict[str, Promise] = {
    "accounts_addresschange": gettext_lazy("a further address of an account, waiting"),
    "accounts_group": gettext_lazy("the group"),
    "accounts_invitation": gettext_lazy("an invitation"),
    "accounts_membership": gettext_lazy("a membership"),
    "accounts_user": gettext_lazy("an account"),
    "accounts_user_groups": gettext_lazy("a set of rights of an account"),
    "accounts_user_user_permissions": gettext_lazy("a right of an account"),
    "alerts_agencycontact": gettext_lazy("a contact at an agency"),
    "alerts_alertpolicy": gettext_lazy("the group's rules for alerts"),
    "alerts_contactabsence": gettext_lazy("an absence of a contact"),
    "alerts_contacthours": gettext_lazy("a contact's hours of work"),
    "alerts_drill": gettext_lazy("an exercise of the alerts"),
    "alerts_forward": gettext_lazy("an alert passed on"),
    "alerts_groupoutcome": gettext_lazy("the group's own word on an incident"),
    "alerts_holiday": gettext_lazy("a holiday"),
    "alerts_incident": gettext_lazy("an incident"),
    "alerts_incident_visits": gettext_lazy("a visit of an incident"),
    "alerts_incidentevent": gettext_lazy("a step of an incident"),
    "alerts_quietperiod": gettext_lazy("a time of quiet"),
    "alerts_repeatoffer": gettext_lazy("an offer to make a repeat visit"),
    "alerts_repeatrequest": gettext_lazy("a repeat visit that is asked for"),
    "alerts_sitecontact": gettext_lazy("who is told about the site"),
    "alerts_trigger": gettext_lazy("a trigger"),
    "alerts_verdict": gettext_lazy("the verdict on a visit"),
    "exporting_publishingterms": gettext_lazy("the terms of publishing"),
    "people_emergencycontact": gettext_lazy("an emergency contact"),
    "people_enquiry": gettext_lazy("an enquiry"),
    "people_enquiryattempt": gettext_lazy("a form of an enquiry that was sent"),
    "people_enquirystep": gettext_lazy("a step of an enquiry"),
    "people_minor": gettext_lazy("the flag of somebody under 18"),
    "people_otherhours": gettext_lazy("hours given besides visits"),
    "people_training": gettext_lazy("a training"),
    "people_trainingkind": gettext_lazy("a kind of training"),
    "privacy_erasure": gettext_lazy("an erasure that was asked for"),
    "privacy_keepingterms": gettext_lazy("for how long the group keeps things"),
    "public_catchment": gettext_lazy("a catchment that groups share"),
    "public_catchmentshare": gettext_lazy("a group's share in a catchment"),
    "reports_grouppicture": gettext_lazy("a picture of the group"),
    "reports_yearlyreport": gettext_lazy("a yearly report"),
    "rota_assignment": gettext_lazy("somebody's place on a planned visit"),
    "rota_availability": gettext_lazy("when somebody can go"),
    "rota_availability_near_sites": gettext_lazy("a site that somebody lives near"),
    "rota_calendarfeed": gettext_lazy("the address of a calendar"),
    "rota_coveroffer": gettext_lazy("a place on a visit that is offered to others"),
    "rota_nameddays": gettext_lazy("days named by somebody"),
    "rota_plannedvisit": gettext_lazy("a planned visit"),
    "rota_proposal": gettext_lazy("a proposed rota"),
    "rota_swapoffer": gettext_lazy("an offer to swap"),
    "surveys_finding": gettext_lazy("a finding"),
    "surveys_importmapping": gettext_lazy("what the columns of a spreadsheet mean"),
    "surveys_importrun": gettext_lazy("a loaded spreadsheet"),
    "surveys_kit": gettext_lazy("a kit"),
    "surveys_kitcleaning": gettext_lazy("a cleaning of a kit"),
    "surveys_listtaxon": gettext_lazy("a line of a recording list"),
    "surveys_measurement": gettext_lazy("a measurement"),
    "surveys_outingrules": gettext_lazy("the group's rules for going out"),
    "surveys_photo": gettext_lazy("a picture"),
    "surveys_recordinglist": gettext_lazy("a recording list"),
    "surveys_returnevent": gettext_lazy("a step of a safe return"),
    "surveys_returnnotice": gettext_lazy("a notice about a safe return"),
    "surveys_riverreport": gettext_lazy("a report of the river's level"),
    "surveys_safereturn": gettext_lazy("a safe return"),
    "surveys_site": gettext_lazy("the site"),
    "surveys_spoteffort": gettext_lazy("a spot"),
    "surveys_taxoncount": gettext_lazy("a count"),
    "surveys_timedkick": gettext_lazy("a timed kick"),
    "surveys_visit": gettext_lazy("the visit"),
    "surveys_visit_corrected_by": gettext_lazy("who corrected a visit"),
    "surveys_visitquestion": gettext_lazy("a question about the visit"),
    "surveys_visitscore": gettext_lazy("a score of the visit"),
    "tokens_apikey": gettext_lazy("a key of a program"),
    "tokens_keptanswer": gettext_lazy("an answer kept for a program"),
}
DONE = {
    RowChange.Operation.ADDED: gettext_lazy("Added in the database, past the portal: %(kind)s"),
    RowChange.Operation.CHANGED: gettext_lazy("Changed in the database, past the portal: %(kind)s"),
    RowChange.Operation.DELETED: gettext_lazy("Deleted in the database, past the portal: %(kind)s"),
}


def kind_of(table: str) -> str:
    """The kind of record that a table holds, such as "a count"; tables that are no more have one for all."""
    return str(KINDS[table]) if table in KINDS else _("a record of an older version")


def change_in_words(change: RowChange) -> str:
    """What was done past the portal, without the names of tables."""
    return str(DONE[RowChange.Operation(change.operation)]) % {"kind": kind_of(change.table)}
