"""One e-mail of every kind, each owed by the service that owes it, for tests that read them all."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from allauth.account.adapter import get_adapter
from allauth.account.models import EmailAddress
from allauth.core.context import request_context
from django.core import mail
from django.core.cache import cache
from django.core.mail import EmailMultiAlternatives
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import timezone, translation

from alerts.models import Incident, IncidentEvent
from alerts.services.drills import send_drill
from alerts.services.forwards import forward_alert
from alerts.services.incidents import close_incident
from alerts.services.messages import owe_incident_mail, owe_pollution_mail
from alerts.services.repeat_course import cancel_repeats, give_back_repeat, take_repeat
from alerts.services.wording import HEADLINES
from portal.accounts.addresses import prove_address
from portal.accounts.models import Group, Membership, Role, User
from portal.accounts.services import invite_person
from portal.accounts.signing_in.losing import reset_member_factor
from portal.outbox.models import Message
from portal.privacy.services import ask_erasure_for
from surveys.models import SafeReturn
from surveys.people.models import EmergencyContact, Enquiry
from surveys.people.services import enquiries
from surveys.people.services.asking import Asked, ask_to_join
from surveys.people.services.emergency import look_at_contacts
from surveys.people.services.enquiries import FirstVisit
from surveys.people.services.opening import confirm_enquiry, write_enquiry
from surveys.people.services.trainings import remind_of_trainings
from surveys.rota.models import Assignment, CoverOffer, PlannedVisit
from surveys.rota.services import answers, changes, publishing, swaps
from surveys.rota.services.leavers import release_places_of_leavers
from surveys.rota.services.reminders import remind_of_visits
from surveys.services.questions import ask_recorder
from surveys.services.return_watch import STEPS, on_return_message_failed, take_steps
from surveys.services.review import return_visit
from surveys.services.safe_returns import end_safe_return, extend_safe_return
from tests.alerts.conftest import make_watch, the_incident, verdict_of
from tests.conftest import Cast
from tests.factories import days_ago, member_of, submit
from tests.people.making import membership_of, trained
from tests.rota.making import offer_days, plan, put_on
from tests.second_factor import code_of
from tests.surveys.outings.returning import OUTSIDER, begin_return, fresh

PASSWORD = "seven otters by the weir"
SHORE = OUTSIDER["named_email"]
NEW, BANK, UNKNOWN = "newt@example.org", "bank@example.org", "unknown@example.org"
COLLEAGUE, INVITED, FURTHER = "una@agency.example", "invited@example.org", "further@example.org"
# They have neither an account nor a choice of their own: the group's language is theirs.
IN_GROUPS_LANGUAGE = frozenset({SHORE, BANK, INVITED})


@dataclass(frozen=True)
class Read:
    """What lands in somebody's mailbox."""

    kind: str
    to: str
    subject: str
    text: str
    html: str


def everything_owed(cast: Cast, *, accounts: str, group: str) -> list[Read]:
    """Let every kind of message be owed in the language spoken now; readers have the languages given."""
    _speak(cast, accounts, group)
    for step in (_alerts, _reviews, _returns, _rota, _trainings, _accounts):
        step(cast, accounts)
    _enquiries(cast, accounts)
    owed = Message.objects.across_groups("tests read all of them")
    letters = [Read(each.kind, each.to_address, each.subject, each.text, each.html) for each in owed]
    return [*letters, *map(_of_account, mail.outbox)]


def _of_account(letter: Any) -> Read:
    assert isinstance(letter, EmailMultiAlternatives)
    return Read("account", letter.to[0], str(letter.subject), str(letter.body), "")


def _speak(cast: Cast, accounts: str, group: str) -> None:
    User.objects.update(language=accounts)
    Group.objects.update(language=group)
    for each in vars(cast).values():
        each.refresh_from_db()


def _alerts(cast: Cast, language: str) -> None:
    watch, person = make_watch(cast), cast.person("coordinator")
    for contact in (watch.first, watch.second):
        contact.language = language
        contact.save()
    visit = watch.submit_low(pollution_signs="Grey foam.")
    incident = the_incident()
    for kind in HEADLINES:
        step = IncidentEvent(incident=incident, kind=kind, visit=visit, contact=watch.first)
        for reader in (watch.first, cast.coordinator):
            owe_incident_mail(incident, visit, step, to=reader, earlier=[visit])
    owe_pollution_mail(visit, verdict_of(visit), to=cast.coordinator)
    forward_alert(incident=incident, contact=watch.first, to_name="Una Marsh", to_email=COLLEAGUE)
    send_drill(person=person, contact=watch.second)
    _repeats(cast, incident)
    close_incident(incident=incident, outcome="natural", note="Net?", person=person)


def _repeats(cast: Cast, incident: Incident) -> None:
    taker = cast.person("other_volunteer")
    take_repeat(person=taker, incident=incident)
    give_back_repeat(person=taker, incident=incident)
    take_repeat(person=taker, incident=incident)
    cancel_repeats(incident, cast.person("coordinator"))


def _reviews(cast: Cast, _language: str) -> None:
    reviewer, author = cast.person("coordinator"), cast.person("volunteer")
    asked, returned = (submit(author, cast.site, visited_on=days_ago(ago).isoformat()) for ago in (5, 6))
    ask_recorder(person=reviewer, visit=asked, text="Net?")
    return_visit(person=reviewer, visit=returned, message="Net?")


def _returns(cast: Cast, _language: str) -> None:
    EmergencyContact.objects.create(
        membership=membership_of(cast.volunteer, cast.group), name="Gwen", phone="1"
    )
    first = begin_return(cast)
    look_at_contacts(person=cast.person("coordinator"), safe_return=first)
    _fail_mails_to_named(first)
    _be_overdue(first, late=0)
    _fail_mails_to_named(first)
    extend_safe_return(safe_return=fresh(first), person=cast.person("volunteer"))
    _be_overdue(first, late=50)
    end_safe_return(safe_return=fresh(first), person=cast.person("coordinator"))
    end_safe_return(safe_return=begin_return(cast), person=cast.person("volunteer"))


def _be_overdue(safe_return: SafeReturn, late: int) -> None:
    for step in STEPS:
        held = fresh(safe_return)
        take_steps(held, held.due_at(step) + timedelta(minutes=late))
        if late:
            # As after a stop of the portal: all at once.
            return


def _fail_mails_to_named(safe_return: SafeReturn) -> None:
    for each in Message.objects.of_group(safe_return.group).filter(about_id=safe_return.pk, to_address=SHORE):
        on_return_message_failed(each, "550")


def _rota(cast: Cast, _language: str) -> None:
    for user in (cast.volunteer, cast.other_volunteer):
        offer_days(cast.group, user, most_a_month=20)
    _cover(cast)
    _changes(cast)
    _swaps(cast)
    _drafts_and_leavers(cast)
    # Told three weeks ago, and due in a day.
    _planned(cast, 1, cast.volunteer)
    remind_of_visits()


def _ahead(days: int) -> date:
    return timezone.localdate() + timedelta(days=days)


def _planned(cast: Cast, days: int, *people: User) -> tuple[PlannedVisit, list[Assignment]]:
    planned = plan(cast.site, _ahead(days))
    return planned, [put_on(planned, each) for each in people]


def _cover(cast: Cast) -> None:
    planned, places = _planned(cast, 3, cast.volunteer, cast.coordinator)
    answers.decline_place(person=cast.person("volunteer"), place=places[0])
    offer = CoverOffer.objects.of_group(cast.group).get(planned=planned)
    answers.take_cover(person=cast.person("other_volunteer"), offer=offer)
    _uncovered, places = _planned(cast, 5, cast.volunteer, cast.other_volunteer)
    answers.decline_place(person=cast.person("volunteer"), place=places[0])


def _changes(cast: Cast) -> None:
    person = cast.person("coordinator")
    planned, places = _planned(cast, 8, cast.volunteer)
    changes.move_visit(person=person, planned=planned, day=_ahead(9), start=planned.start)
    changes.add_to_visit(person=person, planned=planned, user=cast.other_volunteer)
    changes.take_off(person=person, place=places[0])
    changes.call_off_visit(person=person, planned=planned)


def _swaps(cast: Cast) -> None:
    asker, asked = cast.person("volunteer"), cast.person("other_volunteer")
    for days, answer in ((15, swaps.agree_swap), (25, swaps.refuse_swap)):
        (mine,) = _planned(cast, days, cast.volunteer)[1]
        (yours,) = _planned(cast, days + 3, cast.other_volunteer)[1]
        answer(person=asked, swap=swaps.offer_swap(person=asker, mine=mine, yours=yours))


def _drafts_and_leavers(cast: Cast) -> None:
    draft = plan(cast.site, _ahead(40), state="draft", published_at=None)
    put_on(draft, cast.volunteer, state="proposed")
    publishing.publish_rota(person=cast.person("coordinator"), group=cast.group)
    leaver = member_of(cast.group, name="Lea Example")
    _planned(cast, 45, leaver, cast.other_volunteer)
    Membership.objects.of_group(cast.group).filter(user=leaver).update(left_at=timezone.now())
    release_places_of_leavers()


def _trainings(cast: Cast, _language: str) -> None:
    trained(cast.volunteer, cast.group, until=_ahead(20))
    remind_of_trainings(timezone.localdate())


def _enquiries(cast: Cast, language: str) -> None:
    person = cast.person("coordinator")
    young: dict[str, Any] = {
        "is_minor": True,
        "guardian_name": "Gwen Brook",
        "guardian_email": "gwen@example.org",
    }
    for _twice in range(2):
        with translation.override(language):
            ask_to_join(group=cast.group, asked=Asked(name="Newt Brook", email=NEW, **young))
        confirm_enquiry(enquiry=Enquiry.objects.of_group(cast.group).get(email=NEW, state="unconfirmed"))
    enquiry = Enquiry.objects.of_group(cast.group).get(email=NEW)
    enquiries.answer_enquiry(person=person, enquiry=enquiry, message="Net?")
    first = FirstVisit(timezone.localdate(), cast.site.pk, cast.volunteer.pk, "Net?")
    enquiries.invite_to_visit(person=person, enquiry=enquiry, visit=first)
    enquiries.mark_came(person=person, enquiry=enquiry)
    enquiries.offer_membership(person=person, enquiry=enquiry, email=NEW, minor_until=_ahead(400))
    ask_to_join(group=cast.group, asked=Asked(name="Vera", email=cast.volunteer.email))
    write_enquiry(person=cast.person("volunteer"), group=cast.group, asked=Asked(name="Bea Bank", email=BANK))


def _language_now(user: User) -> str:
    return User.objects.get(pk=user.pk).language


def _changes_of_account(user: User, client: Client) -> None:
    """What the portal tells somebody of their own account, by the pages that make it do so."""
    user.set_password(PASSWORD)
    user.save()
    prove_address(user)
    cache.clear()
    client.post(reverse("account_login"), {"login": user.email, "password": PASSWORD})
    client.post(reverse("account_email"), {"action_add": "", "email": FURTHER})
    EmailAddress.objects.filter(email=FURTHER).update(verified=True)
    for step, email in (("primary", FURTHER), ("primary", user.email), ("remove", FURTHER)):
        client.post(reverse("account_email"), {f"action_{step}": "", "email": email})
    secret = client.get(reverse("mfa_activate_totp")).context["form"].secret
    client.post(reverse("mfa_activate_totp"), {"code": code_of(secret)})
    client.post(reverse("mfa_deactivate_totp"))
    client.post(reverse("account_change_password"), {"oldpassword": PASSWORD, "password1": f"{PASSWORD}!"})
    _mails_without_a_page(user)


def _mails_without_a_page(user: User) -> None:
    """Those that need a mailbox, a passkey or a commit; other tests go the whole way."""
    request = RequestFactory(REMOTE_ADDR="127.0.0.1").get("/")
    with request_context(request):
        for name in ("webauthn_added", "webauthn_removed", "totp_activated", "recovery_codes_generated"):
            get_adapter(request).send_notification_mail(f"mfa/email/{name}", user)
        for name in ("account/email/password_set", "account/email/password_reset"):
            get_adapter(request).send_notification_mail(name, user)


def _accounts(cast: Cast, language: str) -> None:
    # In the language of whoever is to be erased, although a coordinator set it off.
    leaver = member_of(cast.group, name="Lea Example", language=_language_now(cast.volunteer))
    ask_erasure_for(
        person=cast.person("coordinator"), membership=membership_of(leaver, cast.group), reason="By letter."
    )
    invite_person(person=cast.person("coordinator"), group=cast.group, email=INVITED, role=Role.REVIEWER)
    spoken, client = translation.get_language(), Client()
    for email, asked_in in ((cast.volunteer.email, spoken), (UNKNOWN, language)):
        client.post(reverse("account_reset_password"), {"email": email}, headers={"Accept-Language": asked_in})
    _changes_of_account(cast.volunteer, client)
    person = cast.person("coordinator")
    reset_member_factor(
        person=person, membership=membership_of(cast.other_volunteer, cast.group), reason="Net?"
    )
    # Each page answered has left its own language spoken.
    translation.activate(str(spoken))
