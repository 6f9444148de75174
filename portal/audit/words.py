"""What the trail says of accounts, rights and files that were taken, in the words of volunteers."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from portal.accounts.models import Role
from portal.audit.models import AuditEntry
from portal.audit.origins import Way
from portal.tokens.models import Scope

Words = Mapping[str, Promise]

ACCOUNT: Words = {
    "account.signed_in": gettext_lazy("Signed in"),
    "account.sign_in_failed": gettext_lazy("Sign-in failed: the password was wrong"),
    "account.signed_out": gettext_lazy("Signed out"),
    "account.session_ended": gettext_lazy("Signed out elsewhere"),
    "account.password_changed": gettext_lazy("Password changed"),
    "account.password_set": gettext_lazy("Password set"),
    "account.password_reset": gettext_lazy("New password by a link from an e-mail"),
    "account.address_added": gettext_lazy("E-mail address added"),
    "account.address_agreed": gettext_lazy("New e-mail address agreed to from the one in use"),
    "account.address_stopped": gettext_lazy("Change of the e-mail address stopped"),
    "account.address_changed": gettext_lazy("E-mail address changed"),
    "account.address_removed": gettext_lazy("E-mail address removed"),
    "account.address_confirmed": gettext_lazy("E-mail address confirmed"),
    "account.factor_added": gettext_lazy("Second step of signing in added"),
    "account.factor_removed": gettext_lazy("Second step of signing in removed"),
    "account.factor_renewed": gettext_lazy("Recovery codes made anew"),
    "account.factor_reset": gettext_lazy("Second step of signing in taken off by somebody in charge"),
    "account.factor_failed": gettext_lazy("Second step of signing in failed"),
    "account.language": gettext_lazy("Language chosen"),
    "account.telephone": gettext_lazy("Telephone number changed"),
    "api_key.made": gettext_lazy("Key for a program made"),
    "api_key.first_used": gettext_lazy("Key for a program used for the first time"),
    "api_key.revoked": gettext_lazy("Key for a program withdrawn"),
}
RIGHTS: Words = {
    "group.created": gettext_lazy("Group founded"),
    "group.edited": gettext_lazy("Settings of the group changed"),
    "invitation.sent": gettext_lazy("Invitation sent"),
    "invitation.revoked": gettext_lazy("Invitation taken back"),
    "membership.joined": gettext_lazy("Joined the group"),
    "membership.came_back": gettext_lazy("Came back to the group"),
    "membership.role": gettext_lazy("Role changed"),
    "membership.ended": gettext_lazy("Membership ended"),
    "membership.emergency_looked": gettext_lazy("Emergency contact looked at"),
    "site.contacts_named": gettext_lazy("Agency contacts of a site named"),
    "incident.forwarded": gettext_lazy("Alert passed on"),
    "incident.forward_revoked": gettext_lazy("Alert that was passed on taken back"),
    "catchment.shared": gettext_lazy("Results shared in a catchment"),
    "catchment.left": gettext_lazy("Sharing in a catchment ended"),
    "publishing_terms.changed": gettext_lazy("Terms of publishing changed"),
}
TAKEN: Words = {
    "export.made": gettext_lazy("Records taken out as a file"),
    "file.taken": gettext_lazy("File fetched"),
    "report.published": gettext_lazy("Report published"),
}
OPERATING: Words = {"backup.ordered": gettext_lazy("Backup ordered")}
ALL: Words = {**ACCOUNT, **RIGHTS, **TAKEN, **OPERATING}
# What stands in the details as a code. What an export holds is named as on its page, which is a floor above.
VALUES: Mapping[str, Words] = {
    "role": {each.value: each.label for each in Role},
    "scopes": {each.value: each.label for each in Scope},
    "factor": {
        "totp": gettext_lazy("One-time codes"),
        "webauthn": gettext_lazy("Passkey"),
        "recovery_codes": gettext_lazy("Recovery codes"),
    },
    "content": {
        "visits": gettext_lazy("Visits with their scores"),
        "counts": gettext_lazy("Taxon counts"),
        "scores": gettext_lazy("Scores"),
        "sites": gettext_lazy("Sites"),
        "darwin_core": gettext_lazy("Darwin Core Archive"),
    },
}
# With which part of a way a reader can do something; the others name our own insides.
TELLING = {
    Way.INTERFACE: gettext_lazy("by the interface, key “%(name)s”"),
    Way.COMMAND: gettext_lazy("by the command %(name)s on the server"),
}


def what_happened(verb: str) -> str:
    """The words of a verb; one that none are kept for is told as it is."""
    return str(ALL[verb]) if verb in ALL else verb.replace(".", " ").replace("_", " ")


def in_words(detail: str, value: object) -> str:
    """A detail's value for its readers; what has no words, such as a file's name, is told as it is."""
    if isinstance(value, list):
        return "; ".join(in_words(detail, each) for each in value)
    return str(VALUES.get(detail, {}).get(str(value), value))


def way_of(entry: AuditEntry) -> str:
    """How it came into the portal: "by the interface, key “weather station”"; empty where that was not kept."""
    if entry.way not in Way.values:
        return ""
    way = Way(entry.way)
    if entry.way_detail and way in TELLING:
        return str(TELLING[way]) % {"name": entry.way_detail}
    if way == Way.INTERFACE:
        return _("by the interface, with a key")
    return str(way.label)
