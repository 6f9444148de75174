"""Fields of text that hold nothing of a person, each with the reason; a test asks about every field."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

METHOD, NUMBER, GROUPS, SETTING = (
    "a name or version of a method, index or taxon",
    "a number, digest or key made by the portal",
    "says something of the group or the place, and of nobody in it",
    "a setting of the portal",
)

# "app.Model" stands for all fields of the model.
NOTHING_PERSONAL: Mapping[str, str] = MappingProxyType(
    {
        "accounts.Group": GROUPS,
        "alerts.GroupOutcome": GROUPS,
        "alerts.Holiday": GROUPS,
        "alerts.IncidentEvent.erased": NUMBER,
        "alerts.IncidentEvent.facts": "figures and digests of the visits of an incident; names are left out",
        "alerts.IncidentEvent.seal": NUMBER,
        "alerts.Trigger.index": METHOD,
        "alerts.Trigger.advice": METHOD,
        "alerts.Verdict.reasons": "why a visit was not tested, in words of the portal",
        "alerts.Verdict.set_aside": "reasons that were set aside, in words of the portal",
        "audit.AuditEntry.erased": NUMBER,
        "audit.AuditEntry.object_type": SETTING,
        "audit.AuditEntry.transaction": NUMBER,
        "audit.AuditEntry.verb": SETTING,
        "audit.Link": NUMBER,
        "audit.RowChange.database_user": "a role of the database, which is no person",
        "audit.RowChange.erased": NUMBER,
        "audit.RowChange.parent": NUMBER,
        "audit.RowChange.row": NUMBER,
        "audit.RowChange.table": SETTING,
        "audit.RowChange.transaction": NUMBER,
        "auth.Group": SETTING,
        "auth.Permission": SETTING,
        "contenttypes.ContentType": SETTING,
        "jobs.Job.key": NUMBER,
        "jobs.Job.kind": SETTING,
        "jobs.Job.language": SETTING,
        "outbox.Heartbeat": SETTING,
        "outbox.Message.about_type": SETTING,
        "outbox.Message.key": NUMBER,
        "outbox.Message.kind": SETTING,
        "outbox.Message.picture_maker": SETTING,
        "people.Training.agreement": "figures of a split sample",
        "people.TrainingKind": GROUPS,
        "public.Catchment": GROUPS,
        "public.OpenDataFile": "approved records on the group's terms; names only of who agreed",
        "reports.YearlyReport.digest": NUMBER,
        "reports.YearlyReport.identifier": NUMBER,
        "reports.YearlyReport.left_out": SETTING,
        "sessions.Session.session_key": NUMBER,
        "surveys.Finding.field": SETTING,
        "surveys.Finding.message": "what a rule of checking found, in words of the portal",
        "surveys.Finding.rule": SETTING,
        "surveys.ImportMapping.signature": NUMBER,
        "surveys.Kit": GROUPS,
        "surveys.ListTaxon": METHOD,
        "surveys.Measurement": "a reading",
        "surveys.OutingRules": GROUPS,
        "surveys.RecordingList": METHOD,
        "surveys.Site": GROUPS,
        "surveys.TaxonCount": METHOD,
        "surveys.Visit.fraction_sorted": "a share of the tray",
        "surveys.VisitScore": METHOD,
        "mfa.Authenticator.type": SETTING,
        "usersessions.UserSession.session_key": NUMBER,
        "tokens.ApiKey.digest": NUMBER,
        "tokens.ApiKey.scopes": SETTING,
        "tokens.ApiKey.start": NUMBER,
        "tokens.KeptAnswer.key": NUMBER,
        "tokens.KeptAnswer.request_digest": NUMBER,
    }
)
