"""What is kept of people because of how the portal works."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from portal.audit.addresses import KEPT as ADDRESSES_KEPT
from portal.audit.addresses import erase_old_addresses
from portal.jobs.services import FILES_KEPT, remove_old_files
from portal.privacy.kept import End, Held, Kept, Limit
from portal.privacy.limits import (
    MAIL_DAYS,
    clear_answers,
    clear_sessions,
    empty_mails,
    empty_mails_of_no_group,
)
from surveys.services.imports import forget_old_sheets
from surveys.services.imports.keeping import KEPT_DAYS

MAIL = ("to_address", "to_name", "subject", "text", "html")

WORKINGS = (
    Kept(
        key="mails",
        what=_("E-mails that the portal sent: address, name, words, and what the mail server answered"),
        why=_("So that an alert is sent once, and that it can be shown what was sent and what was not."),
        how_long=_("90 days; that something was sent, when and what about stays."),
        at_erasure=_("All that was sent to you goes, and what was not yet sent is not sent."),
        held=(Held("outbox.Message", "@to_address", MAIL, End.DELETE, tell=("sent_at", "kind")),),
        others=(
            "outbox.Message.reply_to",
            "outbox.Message.unsubscribe_url",
            "outbox.Message.picture_args",
            "outbox.Attempt.answer",
        ),
        limit=Limit(MAIL_DAYS, empty_mails, choosable="mail_days"),
    ),
    Kept(
        key="own_mails",
        what=_("E-mails that concern no group, such as those about a new password"),
        why=_("As for the others."),
        how_long=_("90 days."),
        at_erasure=_("They go."),
        limit=Limit(MAIL_DAYS, everywhere=empty_mails_of_no_group),
    ),
    Kept(
        key="trail",
        what=_("The trail of changes: who did what, when and why, and what a row of the database was before"),
        why=_("So that every change can be explained, also years later and in a dispute."),
        how_long=_("As long as the group keeps its records."),
        at_erasure=_(
            "Each entry stays under the pseudonym. What it said of you is taken out; a digest proves"
            " that something stood there."
        ),
        held=(Held("audit.AuditEntry", "actor", ("actor_name", "reason"), tell=("at", "verb")),),
        others=(
            "audit.AuditEntry.changes",
            "audit.AuditEntry.way_detail",
            "audit.RowChange.before",
            "audit.RowChange.after",
        ),
    ),
    Kept(
        key="origins",
        what=_("From which network address a change came"),
        why=_("So that somebody who got in can be traced."),
        how_long=_("90 days."),
        at_erasure=_("They go."),
        others=("audit.EntryAddress.address",),
        limit=Limit(ADDRESSES_KEPT.days, everywhere=erase_old_addresses),
    ),
    Kept(
        key="sessions",
        what=_("Sign-ins: a key in a cookie of your browser, and what belongs to it here"),
        why=_("So that you need not sign in on every page."),
        how_long=_("Two weeks from the sign-in, a week without use, or until you sign out."),
        at_erasure=_("They end."),
        held=(
            Held(
                "usersessions.UserSession",
                "user",
                ("ip", "user_agent"),
                End.DELETE,
                tell=("created_at", "last_seen_at"),
            ),
        ),
        others=("sessions.Session.session_data", "usersessions.UserSession.data"),
        limit=Limit(14, everywhere=clear_sessions),
    ),
    Kept(
        key="keys",
        what=_("Keys of your programs: their names and what they may do; the key itself only as a digest"),
        why=_("So that a program can act for you, and no longer than you want."),
        how_long=_("Until you take it back; answers kept for a program a day."),
        at_erasure=_("They go."),
        held=(
            Held("tokens.ApiKey", "user", ("name",), End.DELETE, tell=("scopes",)),
            Held("tokens.KeptAnswer", "user", ("body",), End.DELETE, given=False),
        ),
        limit=Limit(1, everywhere=clear_answers),
    ),
    Kept(
        key="work",
        what=_("Long work that you ordered, such as exports, and the files that it made"),
        why=_("So that you can follow it and fetch the file."),
        how_long=_("Files for 7 days; that it was done stays."),
        at_erasure=_("Files of your groups that still wait to be fetched go and can be made anew."),
        held=(Held("jobs.Job", "started_by", ("label", "reason"), tell=("created_at",)),),
        others=tuple(
            f"jobs.Job.{each}"
            for each in ("parameters", "step", "problem", "summary", "link", "file", "file_name")
        ),
        limit=Limit(FILES_KEPT.days, everywhere=remove_old_files),
    ),
    Kept(
        key="sheets",
        what=_("Spreadsheets that were loaded, which may name recorders"),
        why=_("They are checked, and their mistakes mended, before anything is kept of them."),
        how_long=_("7 days; the visits loaded from them are kept as all visits."),
        at_erasure=_(
            "Sheets of your groups that are still kept go; what was learnt of their columns says the pseudonym."
        ),
        others=(
            *(f"surveys.ImportRun.{each}" for each in ("file_name", "file", "plan", "report", "to_mend")),
            "surveys.ImportRun.undone_reason",
            "surveys.ImportMapping.name",
            "surveys.ImportMapping.plan",
        ),
        limit=Limit(KEPT_DAYS, everywhere=forget_old_sheets),
    ),
    Kept(
        key="backups",
        what=_("Backups: one encrypted file with all of the above"),
        why=_("So that nothing is lost with a machine."),
        how_long=_("As long as whoever runs the portal keeps them; they say how long."),
        at_erasure=_(
            "You are in older backups until those are thrown away. Whoever plays one back erases you again."
        ),
    ),
)
