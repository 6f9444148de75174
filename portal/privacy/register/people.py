"""What is kept of people as members of a group."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from portal.privacy.kept import End, Held, Kept, Limit
from portal.privacy.limits import (
    AVAILABILITY_DAYS,
    INVITATION_DAYS,
    RETURN_DAYS,
    empty_invitations,
    empty_safe_returns,
    erase_availability,
)
from surveys.people.services.erasing import erase_what_is_due
from surveys.people.terms import ERASED_AFTER

GUARDIAN = ("guardian_name", "guardian_phone", "guardian_email")
ENQUIRY = ("name", "email", "phone", "language", "wish", *GUARDIAN)

PEOPLE = (
    Kept(
        key="account",
        what=_("Your account: name, e-mail address, telephone, language, and a password that nobody can read"),
        why=_("So that you can sign in, be written to and be told apart from others."),
        how_long=_("Until you erase it, or a coordinator does so for you."),
        at_erasure=_(
            "Name and address give way to a pseudonym such as “Volunteer 7f3a”; nobody can sign in with it."
        ),
        held=(
            # Emptied by hand in `erasing`: a name and an address must stand there.
            Held(
                "accounts.User",
                "pk",
                ("name", "email", "phone", "language"),
                known_by=("name", "email", "phone"),
                tell=("date_joined",),
            ),
            Held(
                "account.EmailAddress", "user", ("email",), End.DELETE, known_by=("email",), tell=("verified",)
            ),
            Held("accounts.AddressChange", "address__user", ("present",), End.DELETE, given=False),
            # Secrets, encrypted, and what a passkey is called.
            Held("mfa.Authenticator", "user", ("data",), End.DELETE, given=False),
        ),
        others=("accounts.User.password", "account.EmailConfirmation.key"),
    ),
    Kept(
        key="membership",
        what=_("Which groups you belong to, in which role, since when, and whether you may be named"),
        why=_("It says what you may see and do."),
        how_long=_("As long as the group keeps its records; it says who checked whose work."),
        at_erasure=_("It ends, and stands under the pseudonym."),
        held=(
            Held(
                "accounts.Membership", "user", tell=("group__name", "role", "joined_at", "left_at", "show_name")
            ),
        ),
    ),
    Kept(
        key="invitations",
        what=_("E-mail addresses of people who were invited"),
        why=_("The invitation goes there, and opens for nobody else."),
        how_long=_("30 days after the invitation was used, was taken back or ran out."),
        at_erasure=_("The address goes."),
        held=(
            Held("accounts.Invitation", "accepted_by", ("email",), End.BLANK, tell=("created_at", "role")),
            Held("accounts.Invitation", "@email", ("email",), End.BLANK, given=False),
        ),
        limit=Limit(INVITATION_DAYS, empty_invitations),
    ),
    Kept(
        key="enquiries",
        what=_(
            "What you wrote when you asked to have a go: name, address, telephone, wish, a guardian's contact"
        ),
        why=_("So that somebody can answer you."),
        how_long=_(
            "Contact data until you join; 180 days when nothing came of it, 7 if the address was not confirmed."
        ),
        at_erasure=_("It goes."),
        held=(
            Held("people.Enquiry", "membership__user", ENQUIRY, End.DELETE, tell=("asked_at",)),
            Held("people.Enquiry", "@email", ENQUIRY, End.DELETE, tell=("asked_at",)),
        ),
        others=("people.EnquiryAttempt.sender", "people.EnquiryStep.actor_name", "people.EnquiryStep.text"),
        limit=Limit(ERASED_AFTER.days, everywhere=erase_what_is_due),
    ),
    Kept(
        key="guardians",
        what=_("Of members under 18: the day they turn 18 and a guardian's contact"),
        why=_("Who is under 18 is never sent without an adult and is named nowhere in public."),
        how_long=_("Until the 18th birthday; the guardian's contact no longer than the membership."),
        at_erasure=_("It goes."),
        held=(
            Held("people.Minor", "membership__user", GUARDIAN, End.DELETE, known_by=GUARDIAN, tell=("until",)),
        ),
    ),
    Kept(
        key="emergency",
        what=_("Whom to ring if something happens to you: name, telephone, who they are to you"),
        why=_("It opens only while a safe return runs, and you are told of each look."),
        how_long=_("Until you erase it or leave the group."),
        at_erasure=_("It goes."),
        held=(
            Held(
                "people.EmergencyContact",
                "membership__user",
                ("name", "phone", "relation"),
                End.DELETE,
                known_by=("name", "phone"),
            ),
        ),
    ),
    Kept(
        key="trainings",
        what=_("Trainings: day, kind, trainer, evidence"),
        why=_("Some work may be done only by those who were trained."),
        how_long=_("As long as the group keeps its records."),
        at_erasure=_("Kind and day stay under the pseudonym; evidence and reasons are emptied."),
        held=(
            Held(
                "people.Training",
                "membership__user",
                ("evidence", "withdrawn_reason"),
                End.BLANK,
                tell=("kind__name", "trained_on", "valid_until"),
            ),
            Held("people.Training", "trainer", ("trainer_name",), End.NAME, tell=("trained_on",)),
        ),
    ),
    Kept(
        key="hours",
        what=_("Hours given beside visits, with a note"),
        why=_("The group says each year how much was given; you see your own."),
        how_long=_("As long as the group keeps its records."),
        at_erasure=_("The hours stay under the pseudonym; the note is emptied."),
        held=(
            Held("people.OtherHours", "membership__user", ("note",), End.BLANK, tell=("day", "hours", "work")),
        ),
    ),
    Kept(
        key="availability",
        what=_("When you can go, how far, and about where you live (to about a kilometre)"),
        why=_("The rota is proposed from it."),
        how_long=_("Until 30 days after you left the group."),
        at_erasure=_("It goes."),
        held=(
            Held(
                "rota.Availability",
                "user",
                ("latitude", "longitude"),
                End.DELETE,
                tell=("weekdays", "travel_km", "most_a_month"),
            ),
        ),
        limit=Limit(AVAILABILITY_DAYS, erase_availability),
    ),
    Kept(
        key="returns",
        what=_(
            "Safe returns: telephone, car, who went along, the named person with their address, who was told"
        ),
        why=_("So that somebody knows where to look and whom to ring when nobody comes back."),
        how_long=_("30 days after the return has ended; that you went, where and when stays."),
        at_erasure=_("Telephone, car, names and addresses go. A return that still runs must end first."),
        held=(
            Held(
                "surveys.SafeReturn",
                "started_by",
                ("phone", "car"),
                End.BLANK,
                known_by=("phone", "car"),
                tell=("started_at", "expected_at", "ended_at", "site__code"),
            ),
            # Somebody else's name and address, and so no part of one's own file.
            Held("surveys.SafeReturn", "started_by", ("named_name", "named_email"), End.BLANK, given=False),
            Held("surveys.SafeReturn", "partner", ("partner_name",), End.NAME, tell=("started_at",)),
            Held(
                "surveys.SafeReturn",
                "named_user",
                ("named_name", "named_email"),
                End.BLANK,
                tell=("started_at",),
            ),
            Held("surveys.ReturnNotice", "@email", ("name", "email"), End.DELETE, tell=("told_at",)),
        ),
        others=(
            "surveys.SafeReturn.ended_by_name",
            "surveys.ReturnEvent.actor_name",
            "surveys.ReturnEvent.note",
        ),
        limit=Limit(RETURN_DAYS, empty_safe_returns, choosable="return_days"),
    ),
)
