"""A person of whom everything is kept that can be, each field with a word that stands nowhere else."""

from __future__ import annotations

import io
from datetime import timedelta
from typing import Any
from uuid import uuid4

from allauth.account.models import EmailAddress
from allauth.usersessions.models import UserSession
from django.apps import apps
from django.core.files.base import ContentFile
from django.db import models
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from alerts.models import EventKind, Incident, QuietPeriod, Verdict
from alerts.services.events import add_event
from portal.accounts.addresses import prove_address
from portal.accounts.models import AddressChange, Invitation, User
from portal.accounts.queries import person_of
from portal.audit.models import AuditEntry
from portal.audit.services import record_change
from portal.jobs.models import Job
from portal.outbox.models import Message
from portal.privacy.collecting import addresses_of, rows_of
from portal.privacy.kept import End, Held
from portal.privacy.register import KEPT
from portal.tokens.models import ApiKey, KeptAnswer
from surveys.models import Draft, Finding, Photo, RiverReport, Site, Visit, VisitQuestion
from surveys.models.outings import Kit, KitCleaning
from surveys.models.returns import ReturnNotice, SafeReturn
from surveys.people.models import EmergencyContact, Enquiry, OtherHours, Training
from surveys.rota.models import Assignment, Availability, PlannedVisit
from tests.alerts.conftest import set_level
from tests.conftest import Cast
from tests.factories import VisitFactory, days_ago
from tests.people.making import enquiry_in, kind_of, membership_of, trained, under_18
from tests.second_factor import give_codes

HELD = [held for kind in KEPT for held in kind.held]
# Written by services alone, with the words of whoever acts.
NOT_MARKED = ("audit.AuditEntry", "alerts.IncidentEvent")


class Marked:
    """What was marked of one person: every word, and those that an erasure must leave nowhere."""

    def __init__(self, user: User) -> None:
        self.user = user
        self.words: set[str] = set()
        self.to_go: set[str] = set()


def keep_everything_of(user: User, cast: Cast) -> Marked:
    """Make a row of every kind that the register knows, and mark every field of it."""
    assert prove_address(user)
    user.phone, user.language = "01632 960333", "de"
    user.save()
    _as_member(user, cast)
    _outings(user, cast)
    _records(user, cast)
    _workings(user, cast)
    _ways_of_signing_in(user)
    return mark(user)


def mark(user: User) -> Marked:
    """Put a word of its own into every text of the person that the register knows; what is missing fails."""
    marked = Marked(user)
    stem = user.name.split()[0]
    for place, held in enumerate(each for each in HELD if each.given and each.model not in NOT_MARKED):
        rows = rows_of(held, user, addresses_of(user))
        if held.model == "surveys.Visit":
            # What was found at a visit of an incident is sealed.
            rows = rows.filter(incidents=None)
        assert rows.exists(), f"nothing of {held.model} by {held.owner} to be marked"
        for name in held.fields:
            word = _word(held, name, f"{stem}{place}{name.replace('_', '')}")
            if word:
                rows.update(**{name: word})
                marked.words.add(word if isinstance(word, str) else next(iter(word)))
                if held.end != End.STAY or name in held.known_by:
                    marked.to_go.add(word if isinstance(word, str) else next(iter(word)))
    user.refresh_from_db()
    return marked


def _word(held: Held, name: str, word: str) -> Any:
    """The word for this field; nothing for what is no text, says who they are, or must be of a certain form."""
    field = apps.get_model(held.model)._meta.get_field(name)
    if isinstance(field, models.JSONField):
        return {word: 1}
    if not isinstance(field, models.CharField | models.TextField) or field.choices:
        return None
    if name in ("language", "to_address") or isinstance(field, models.EmailField):
        return None
    return (
        f"{word} {name}"[: field.max_length or 200]
        if name in held.known_by
        else word[: field.max_length or 200]
    )


def _ways_of_signing_in(user: User) -> None:
    give_codes(user)
    UserSession.objects.create(user=user, ip="203.0.113.9", user_agent="x", session_key=user.pk.hex)
    further = EmailAddress.objects.create(user=user, email=f"further.{user.email}")
    AddressChange.objects.create(address=further, present=user.email)


def _as_member(user: User, cast: Cast) -> None:
    own = membership_of(user, cast.group)
    now = timezone.now()
    Invitation.objects.create(
        group=cast.group, email=user.email, invited_by=cast.coordinator, accepted_by=user, accepted_at=now
    )
    enquiry_in(cast.group, "joined", membership=own, email="")
    Enquiry.objects.filter(group=cast.group, membership=own).update(guardian_name="Gwen")
    enquiry_in(cast.group, email=user.email)
    under_18(user, cast.group)
    EmergencyContact.objects.create(membership=own, name="Edda Brook", phone="01632 960444")
    trained(user, cast.group, evidence="x")
    Training.objects.create(
        membership=membership_of(cast.coordinator, cast.group),
        kind=kind_of(cast.group),
        trained_on=days_ago(3),
        trainer=user,
        trainer_name=user.name,
    )
    OtherHours.objects.create(membership=own, day=days_ago(5), work="sorting", hours=2, note="x")
    Availability.objects.create(group=cast.group, user=user, latitude="54.51", longitude="-2.52")


def _outings(user: User, cast: Cast) -> None:
    now = timezone.now()
    usual: dict[str, Any] = {
        "group": cast.group,
        "site": cast.site,
        "started_at": now - timedelta(hours=5),
        "expected_at": now - timedelta(hours=2),
        "ended_at": now,
        "ended_how": "back",
        "again_minutes": 15,
        "coordinators_minutes": 30,
        "named_minutes": 60,
        "named_name": "Hazel",
    }
    started = SafeReturn.objects.create(**usual, started_by=user, phone="01632 960555", car="van")
    SafeReturn.objects.create(**usual, started_by=cast.coordinator, partner=user)
    SafeReturn.objects.create(**usual, started_by=cast.coordinator, named_user=user)
    ReturnNotice.objects.create(
        safe_return=started, round=0, step=1, name="x", email=user.email, is_of_pair=True, told_at=now
    )
    kit, _new = Kit.objects.get_or_create(group=cast.group, name="Net one")
    KitCleaning.objects.create(kit=kit, method="dried", cleaned_on=days_ago(1), cleaned_by=user)
    RiverReport.objects.create(
        site=cast.site, too_high=True, reported_by=user, reported_at=now, holds_until=now + timedelta(hours=1)
    )
    day = days_ago(9)
    window = {"due_on": day, "window_from": day, "window_until": day, "people_needed": 2}
    planned, _new = PlannedVisit.objects.get_or_create(
        group=cast.group, site=cast.site, day=day, defaults=window
    )
    Assignment.objects.create(planned=planned, user=user, day=planned.day, why="x")


def _records(user: User, cast: Cast) -> None:
    visit = _visit(cast.site, cast.coordinator, recorder=user, partner_name="Sam Example")
    _visit(cast.site, cast.coordinator, partner=user)
    _visit(cast.site, cast.coordinator, reviewed_by=user)
    _visit(cast.site, user)
    now = timezone.now()
    draft = Draft.objects.create(
        id=uuid4(), group=cast.group, site=cast.site, entered_by=user, data={"notes": "x"}
    )
    for number in (visit.pk, draft.pk):
        Photo.objects.create(
            group=cast.group, visit_number=number, added_by=user, file=a_picture(), caption="x"
        )
    other = cast.coordinator
    VisitQuestion.objects.create(visit=visit, text="x", asked_by=user, asked_of=other)
    VisitQuestion.objects.create(
        visit=visit, text="x", asked_by=other, asked_of=user, answer="x", answered_at=now
    )
    Finding.objects.create(visit=visit, rule="x", field="x", message="x", decided_by=user, decision_reason="x")
    QuietPeriod.objects.create(
        group=cast.group, site=cast.site, ends_at=now + timedelta(hours=1), reason="x", set_by=user
    )
    set_level(cast.site, user)
    Verdict.objects.create(
        group=cast.group, visit=visit, outcome="not_tested", tested_anyway_by=user, tested_anyway_reason="x"
    )


def _visit(site: Site, typist: User, **fields: Any) -> Visit:
    made: Visit = VisitFactory(
        site=site,
        entered_by=typist,
        position_latitude=54.5,
        position_longitude=-2.5,
        position_source="typed",
        notes="x",
        **fields,
    )
    return made


def a_picture() -> ContentFile[bytes]:
    """A small picture as a file."""
    file = io.BytesIO()
    Image.new("RGB", (8, 8), "green").save(file, "JPEG")
    return ContentFile(file.getvalue(), name=f"{uuid4()}.jpg")


def _workings(user: User, cast: Cast) -> None:
    Message.objects.create(
        group=cast.group, key=f"mail:{user.pk}", kind="x", to_address=user.email, subject="x", text="x"
    )
    ApiKey.objects.create(
        user=user, name="x", start="x", digest=uuid4().hex, expires_at=timezone.now() + timedelta(days=1)
    )
    KeptAnswer.objects.create(user=user, key="x", request_digest="x")
    Job.objects.create(group=cast.group, started_by=user, kind="export", label="x", state="done", reason="x")


def act_as(user: User, cast: Cast, incident: Incident | None = None) -> None:
    """Things that the person did, which stand in the trail under the name that they bear now."""
    person = person_of(user)
    record_change(actor=person, verb="site.seen", thing=cast.site, changes={"people": [None, user.name]})
    record_change(
        actor=cast.person("coordinator"),
        verb="membership.role",
        thing=membership_of(user, cast.group),
        reason=f"{user.name} asked, {user.phone}",
    )
    AuditEntry.objects.create(
        actor=user,
        actor_name=user.name,
        verb="x",
        object_id=user.pk,
        way="interface",
        way_detail="mynoteofbefore",
    )
    if incident:
        add_event(incident, EventKind.NOTE, person=person, note=f"{user.name} rang {user.email}")


def sign_in(client: Client, user: User) -> None:
    """As somebody who has just given their password."""
    user.set_password("three unrelated words")
    user.save()
    client.force_login(user)
    answer = client.post(reverse("account_reauthenticate"), {"password": "three unrelated words"})
    assert answer.status_code == 302
