"""Sign-ins, rights, keys and files: in the trail, with way and address, and told to whom it concerns."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from allauth.account import signals
from allauth.account.models import EmailAddress
from allauth.core.context import request_context
from allauth.mfa.models import Authenticator
from django.conf import LazySettings
from django.contrib.auth.signals import user_login_failed
from django.core.files.base import ContentFile
from django.dispatch import Signal
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import translation

from portal.accounts.models import Membership, Role, User
from portal.accounts.services import change_role, invite_person
from portal.audit import account_events
from portal.audit.account_events import NOT_SIGNED_IN, UNKNOWN_ADDRESS, digest_of_address, note_account
from portal.audit.addresses import addresses_of
from portal.audit.models import AuditEntry
from portal.audit.words import ACCOUNT, ALL, VALUES, in_words
from portal.jobs.models import Job
from portal.tokens.services import make_key, revoke_key
from surveys.exporting.contents import CONTENTS
from surveys.exporting.services import ARCHIVE
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
PASSWORD = "nine unrelated words on a wet bank"
CLIENT = "198.51.100.7"


@pytest.fixture
def vera(cast: Cast) -> User:
    cast.volunteer.set_password(PASSWORD)
    cast.volunteer.save()
    EmailAddress.objects.create(user=cast.volunteer, email=cast.volunteer.email, verified=True, primary=True)
    return cast.volunteer


@pytest.fixture
def browser(client: Client) -> Client:
    client.defaults["REMOTE_ADDR"] = CLIENT
    return client


def of(verb: str) -> list[AuditEntry]:
    return list(AuditEntry.objects.across_groups("test").filter(verb=verb).order_by("at"))


def only(verb: str) -> AuditEntry:
    (entry,) = of(verb)
    return entry


def sign_in(browser: Client, password: str = PASSWORD, login: str = "vera@example.org") -> None:
    browser.post(reverse("account_login"), {"login": login, "password": password})


def test_signing_in_and_out_is_written_with_its_way_and_address(browser: Client, vera: User) -> None:
    sign_in(browser)
    browser.post(reverse("account_logout"))
    for verb in ("account.signed_in", "account.signed_out"):
        entry = only(verb)
        assert (entry.actor_id, entry.object_id, entry.group) == (vera.pk, vera.pk, None)
        assert (entry.way, entry.way_detail) == ("page", "")
        assert addresses_of([entry]) == {entry.pk: CLIENT}


def test_signing_out_of_nothing_is_no_event(browser: Client, cast: Cast) -> None:
    browser.post(reverse("account_logout"))
    assert of("account.signed_out") == []


def test_a_failed_sign_in_is_written_without_the_password(browser: Client, vera: User) -> None:
    sign_in(browser, password="not the one at all")
    entry = only("account.sign_in_failed")
    assert (entry.object_type, entry.object_id, entry.actor) == ("accounts.user", vera.pk, None)
    assert entry.actor_name == NOT_SIGNED_IN
    assert "not the one" not in str(AuditEntry.objects.across_groups("test").values().get(pk=entry.pk))


def test_an_address_that_nobody_has_is_kept_as_a_keyed_digest(
    browser: Client, cast: Cast, settings: LazySettings
) -> None:
    for login in ("ghost@example.org", "Ghost@Example.org ", "other@example.org"):
        sign_in(browser, login=login)
    first, again, other = of("account.sign_in_failed")
    assert {first.object_type, again.object_type, other.object_type} == {UNKNOWN_ADDRESS}
    assert first.object_id == again.object_id != other.object_id
    assert "ghost" not in str([first.__dict__, again.__dict__]).lower()
    settings.SECRET_KEY = "another one"
    assert digest_of_address("ghost@example.org") != first.object_id, "without the key it could be guessed"


# Every signal of allauth that tells of a change, with what it is sent with, and the verb that it leaves.
SENT: dict[str, tuple[Signal, str]] = {
    "password_changed": (signals.password_changed, "account.password_changed"),
    "password_set": (signals.password_set, "account.password_set"),
    "password_reset": (signals.password_reset, "account.password_reset"),
    "email_added": (signals.email_added, "account.address_added"),
    "email_changed": (signals.email_changed, "account.address_changed"),
    "email_removed": (signals.email_removed, "account.address_removed"),
    "email_confirmed": (signals.email_confirmed, "account.address_confirmed"),
}
# Signing in and out is heard from Django; nobody signs up by themselves, no codes are mailed, the rest are
# steps on the way.
NOT_NOTED = {
    "user_logged_in",
    "user_signed_up",
    "email_confirmation_sent",
    "authentication_step_completed",
    "_add_email",
    "login_code_rejected",
    "password_reset_code_rejected",
    "email_verification_code_rejected",
    "user_logged_out",
}


def test_every_signal_of_allauth_is_noted_or_left_out_on_purpose() -> None:
    there = {name for name, value in vars(signals).items() if isinstance(value, Signal)}
    assert there == set(SENT) | NOT_NOTED


@pytest.mark.parametrize("name", SENT)
def test_a_change_of_an_account_is_written_without_any_address(
    name: str, vera: User, rf: RequestFactory, client: Client
) -> None:
    signal, verb = SENT[name]
    address = EmailAddress.objects.get(user=vera)
    request = rf.get("/")
    # Whoever else hears of it ends the account's other sessions.
    request.user, request.session = vera, client.session
    with request_context(request):
        signal.send(User, request=request, user=vera, email_address=address, from_email_address=address)
    entry = only(verb)
    assert (entry.actor_id, entry.object_id, entry.changes) == (vera.pk, vera.pk, {})


@pytest.mark.parametrize("verb", [each for each in ACCOUNT if each.startswith("account.factor_")])
def test_a_second_factor_is_written_with_its_kind(verb: str, vera: User) -> None:
    """As the signals of allauth.mfa are heard, which exist only where it is installed."""
    note = account_events._factor_noted(verb)
    note(sender=None, request=None, user=vera, authenticator=SimpleNamespace(type="totp"))
    entry = only(verb)
    assert (entry.object_id, entry.changes) == (vera.pk, {"factor": [None, "totp"]})


def test_a_password_changed_on_its_page_is_written(browser: Client, vera: User) -> None:
    sign_in(browser)
    new = "seven other words under an old bridge"
    fields = {"oldpassword": PASSWORD, "password1": new, "password2": new}
    browser.post(reverse("account_change_password"), fields)
    assert only("account.password_changed").way == "page"


def test_a_key_is_written_when_it_is_made_first_used_and_withdrawn(browser: Client, cast: Cast) -> None:
    person = cast.person("volunteer")
    made = make_key(person=person, name="weather station", scopes=["read:sites"], days=3)
    for _twice in range(2):
        answer = browser.get(reverse("api_groups"), headers={"Authorization": f"Bearer {made.text}"})
        assert answer.status_code == 200
    used = only("api_key.first_used")
    assert (used.actor_id, used.object_id) == (person.user_id, made.key.pk)
    revoke_key(person=person, key=made.key)
    assert only("api_key.made").object_id == only("api_key.revoked").object_id == made.key.pk


@pytest.fixture
def job(cast: Cast) -> Job:
    made = Job(group=cast.group, started_by=cast.volunteer, kind="export", label="Export", state="done")
    made.file.save("x", ContentFile(b"code,name\n"), save=False)
    made.file_name = "visits.csv"
    made.save()
    return made


def fetch(browser: Client, address: str, method: str = "get") -> bytes:
    """The file at an address, closed again; closing the whole answer would close the database as well."""
    answer: Any = getattr(browser, method)(address)
    content = b"".join(answer.streaming_content)
    for closer in answer._resource_closers:
        closer()
    return content


def test_fetching_a_file_is_written_and_looking_at_its_head_is_not(
    browser: Client, cast: Cast, job: Job
) -> None:
    browser.force_login(cast.volunteer)
    address = reverse("job_file", args=[cast.group.slug, job.pk])
    fetch(browser, address, "head")
    assert of("file.taken") == []
    assert fetch(browser, address) == b"code,name\n"
    entry = only("file.taken")
    assert (entry.actor, entry.group, entry.changes) == (
        cast.volunteer,
        cast.group,
        {"file": [None, "visits.csv"]},
    )


def test_every_verb_of_the_pages_has_its_words() -> None:
    assert all(str(words).strip() for words in ALL.values())
    verbs = {*account_events.BY_SIGNAL.values(), "account.sign_in_failed", "account.address_confirmed"}
    assert verbs <= set(ACCOUNT)


def test_codes_in_the_details_are_told_in_words() -> None:
    assert in_words("role", "reviewer") == "Guest reviewer"
    assert in_words("scopes", ["review", "read:incidents"]) == (
        "approve and return visits, decide findings; read incidents"
    )
    with translation.override("de"):
        assert in_words("role", "reviewer") == "Gastprüfung"
    assert in_words("file", "visits.csv") == "visits.csv"
    assert set(VALUES["factor"]) == set(Authenticator.Type.values)
    labels = {key: str(each.label) for key, each in CONTENTS.items()}
    told = {key: str(words) for key, words in VALUES["content"].items()}
    assert told == labels | {ARCHIVE: "Darwin Core Archive"}


def happened(browser: Client, page: str, *args: Any) -> str:
    answer = browser.get(reverse(page, args=args))
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_person_sees_what_happened_and_from_where(browser: Client, vera: User, cast: Cast) -> None:
    sign_in(browser, password="not the one at all")
    sign_in(browser)
    membership = Membership.objects.of_group(cast.group).get(user=vera)
    change_role(person=cast.person("coordinator"), membership=membership, role=Role.REVIEWER)
    note_account(cast.stranger, "account.signed_in")
    told = happened(browser, "account_trail")
    assert "Sign-in failed: the password was wrong" in told
    assert "Role changed" in told
    assert "Guest reviewer" in told
    assert told.count(CLIENT) == 2
    assert "Sal Example" not in told


def test_the_address_of_somebody_else_is_not_told(browser: Client, vera: User, cast: Cast) -> None:
    """A coordinator changes a role from home: that is no matter of the member's."""
    membership = Membership.objects.of_group(cast.group).get(user=vera)
    browser.force_login(cast.coordinator)
    browser.post(reverse("membership_change", args=[cast.group.slug, membership.pk]), {"role": "coordinator"})
    assert addresses_of([only("membership.role")])
    browser.force_login(vera)
    told = happened(browser, "account_trail")
    assert "Role changed" in told
    assert CLIENT not in told


def test_coordinators_see_rights_and_files_of_their_group_alone(browser: Client, cast: Cast, job: Job) -> None:
    browser.force_login(cast.volunteer)
    fetch(browser, reverse("job_file", args=[cast.group.slug, job.pk]))
    for who in ("coordinator", "neighbour_coordinator"):
        group = cast.group if who == "coordinator" else cast.neighbour
        invite_person(person=cast.person(who), group=group, email="new@example.org", role=Role.VOLUNTEER)
    browser.force_login(cast.coordinator)
    told = happened(browser, "group_trail", cast.group.slug)
    assert "visits.csv" in told
    assert told.count("Invitation sent") == 1
    assert CLIENT not in told
    assert "Signed in" not in told


def test_operators_see_all_with_addresses(browser: Client, vera: User, cast: Cast) -> None:
    sign_in(browser)
    invite_person(person=cast.person("coordinator"), group=cast.group, email="n@example.org", role="volunteer")
    cast.stranger.is_staff = True
    cast.stranger.save()
    browser.force_login(cast.stranger)
    told = happened(browser, "portal_trail")
    assert "Signed in" in told
    assert "Alder Beck Watch" in told
    assert CLIENT in told


def test_a_try_is_heard_of_by_the_signal_of_django(vera: User) -> None:
    """Whatever way of signing in is added: what fails goes through this signal."""
    user_login_failed.send("test", credentials={"username": "vera@example.org"}, request=None)
    assert only("account.sign_in_failed").object_id == vera.pk
