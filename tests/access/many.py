"""Thousands of rows like the world's own, written as sets: what the lists hold after very many years."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import timedelta
from types import MappingProxyType
from typing import Any

from allauth.account.models import EmailAddress
from django.apps import apps
from django.db import connection
from django.db.models import Model
from django.utils import timezone

from alerts.models import EventKind, Incident, Verdict
from alerts.services.events import add_event
from portal.accounts.models import Group, Membership, Role
from portal.audit.models import AuditEntry
from portal.audit.services import record_change
from portal.outbox.models import Message
from surveys.models import Finding, RiverReport, Visit, VisitQuestion
from surveys.people.models import OtherHours
from surveys.services.photos import add_photo
from tests.access.scene import Scene
from tests.access.world import World, picture
from tests.conftest import Cast
from tests.factories import SiteFactory, days_ago, member_of, person_for, submit
from tests.owner import as_owner
from tests.people.making import trained

# By name of the argument in the world: the row that is copied, and what refers to that row and goes with it.
COPIED: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "user_id": ("accounts.User", "account.EmailAddress.user"),
        "membership_id": ("accounts.Membership", "people.OtherHours.membership", "people.Training.membership"),
        "invitation_id": ("accounts.Invitation",),
        "list_id": ("surveys.RecordingList",),
        "site_id": ("surveys.Site", "surveys.RiverReport.site", "alerts.Trigger.site"),
        "visit_id": (
            "surveys.Visit",
            "surveys.VisitScore.visit",
            "surveys.Finding.visit",
            "surveys.VisitQuestion.visit",
            "alerts.Verdict.visit",
        ),
        "draft_id": ("surveys.Draft",),
        "run_id": ("surveys.ImportRun",),
        "kit_id": ("surveys.Kit", "surveys.KitCleaning.kit"),
        "return_id": ("surveys.SafeReturn",),
        "contact_id": ("alerts.AgencyContact", "alerts.SiteContact.contact", "alerts.Drill.contact"),
        "incident_id": ("alerts.Incident",),
        "outcome_id": ("alerts.GroupOutcome",),
        "enquiry_id": ("people.Enquiry",),
        "planned_id": ("rota.PlannedVisit", "rota.Assignment.planned"),
        "job_id": ("jobs.Job",),
        "message_id": ("outbox.Message",),
        "key_id": ("tokens.ApiKey",),
        "report_id": ("reports.YearlyReport",),
        "entry_id": ("audit.AuditEntry",),
    }
)
# A group has no more of these than its people and its river need: other rows refer to the first fifty.
REGISTERS = tuple(["user_id", "membership_id", "list_id", "site_id", "kit_id", "contact_id", "outcome_id"])
REFERRED_TO, LOW = 50, "one of a low dozen"
# These alone may grow far beyond: a river trust's thousands of members, a country's sites in one group.
LARGE = ("user_id", "membership_id", "site_id")
# As SQL over the copied row and its number `n`: what must differ, or would else be no more than a heap.
CHANGED: Mapping[str, str] = MappingProxyType(
    {
        "accounts.User.email": "'many' || n || '@example.org'",
        "accounts.User.name": "name || ' ' || n",
        "account.EmailAddress.email": "'many' || n || '@example.org'",
        "surveys.RecordingList.slug": "slug || '-' || n",
        "surveys.Site.code": "code || '-' || n",
        "surveys.Visit.visited_on": "visited_on - (n - 1) / 2 % 5000",
        "surveys.Visit.submitted_at": "submitted_at - n * interval '1 hour'",
        "surveys.Kit.name": "name || ' ' || n",
        # Elsewhere other officers are told; within the group it is always the same.
        "alerts.AgencyContact.email": "CASE WHEN n > 20000 THEN n || email ELSE email END",
        "alerts.Incident.number": "number + n",
        "alerts.Incident.state": "'closed'",
        "alerts.Incident.outcome": "'not_confirmed'",
        "alerts.Incident.closed_at": "opened_at",
        "alerts.GroupOutcome.label": "label || ' ' || n",
        **{
            f"rota.PlannedVisit.{each}": f"{each} - n"
            for each in ("day", "due_on", "window_from", "window_until")
        },
        "rota.Assignment.day": "day - n",
        "jobs.Job.key": "CASE WHEN key = '' THEN '' ELSE key || n END",
        "outbox.Message.key": "key || '/' || n",
        "tokens.ApiKey.user_id": "CASE WHEN n > 20000 THEN md5(user_id::text || n)::uuid ELSE user_id END",
        "tokens.ApiKey.digest": "md5(digest || n) || md5(n::text)",
        "reports.YearlyReport.edition": "edition + n + 1",
    }
)


def with_templates(world: World, group: Group) -> World:
    """The world with the rows to copy that no address names."""
    member = Membership.objects.of_group(group).get(pk=world.values["membership_id"])
    message = Message.objects.of_group(group).first()
    entry = AuditEntry.objects.of_group(group).filter(object_id=world.values["visit_id"]).first()
    assert message is not None
    assert entry is not None
    noon = timezone.now() - timedelta(days=1)
    RiverReport.objects.create(
        site_id=world.values["site_id"], level_m=0.2, reported_at=noon, holds_until=noon + timedelta(hours=6)
    )
    asker = member_of(group, Role.COORDINATOR, name="Quill Example")
    VisitQuestion.objects.create(
        visit_id=world.values["visit_id"], text="Which pool?", asked_by=asker, asked_of=member.user
    )
    trained(member.user, group)
    OtherHours.objects.create(membership=member, day=days_ago(5), work="sorting", hours=2)
    EmailAddress.objects.create(user=member.user, email="elsewhere@example.org", verified=True)
    incident = Incident.objects.of_group(group).get(pk=world.values["incident_id"])
    add_event(incident, EventKind.OPENED, visit=incident.visits.get())
    world.values |= {"user_id": member.user_id, "message_id": message.pk, "entry_id": entry.pk}
    return world


def burden(scene: Scene) -> None:
    """A dozen of everything that a page of one record could ask for one by one."""
    cast, world = scene.cast, scene.world
    for number in range(12):
        member = member_of(cast.group, name=f"Member {number}")
        SiteFactory(group=cast.group, downstream=cast.site)
        submit(person_for(member), cast.site, visited_on=days_ago(20 + number).isoformat(), notes=LOW)
    numbers = [world.values["visit_id"], world.special["visit_mend"]["visit_id"]]
    for visit in Visit.objects.of_group(cast.group).filter(id__in=numbers):
        _burden(visit, cast)
    incident = Incident.objects.of_group(cast.group).get(pk=world.values["incident_id"])
    for visit in Visit.objects.of_group(cast.group).filter(notes=LOW, site=cast.site):
        _make_low(visit, incident)


def _make_low(visit: Visit, incident: Incident) -> None:
    """One more low visit of the incident, with a picture."""
    of_first = Verdict.objects.of_group(visit.group).filter(visit__in=incident.visits.all()).first()
    assert of_first is not None
    low: dict[str, Any] = {
        "outcome": "below",
        "trigger": of_first.trigger,
        "value": of_first.value,
        "reasons": [],
    }
    Verdict.objects.of_group(visit.group).filter(visit=visit).update(**low)
    incident.visits.add(visit)
    assert visit.recorder is not None
    add_photo(person=person_for(visit.recorder), group=visit.group, visit_number=visit.pk, upload=picture())
    add_event(incident, EventKind.JOINED, visit=visit)


def _burden(visit: Visit, cast: Cast) -> None:
    people = [cast.other_volunteer, cast.second_coordinator]
    visit.corrected_by.add(*people)
    for number in range(10):
        who = people[number % 2]
        Finding.objects.create(
            visit=visit,
            rule="deep",
            field=f"spots.{number}.depth_cm",
            message="Deep.",
            decision="accepted",
            decided_by=who,
            decided_at=timezone.now(),
            decision_reason="Measured twice.",
        )
        record_change(actor=person_for(who), verb="finding.decided", thing=visit)
    for _each in range(4):
        coordinator = cast.person("coordinator") if visit.status != "returned" else cast.person("volunteer")
        add_photo(person=coordinator, group=cast.group, visit_number=visit.pk, upload=picture())


def write_many(world: World, group: Group, first: int, last: int, names: Iterable[str] = COPIED) -> None:
    """Copies of the world's rows with these numbers, all of them rows of `group`."""
    seeds = {_model(labels[0]): name for name, labels in COPIED.items()}
    rows = {name: world.values[name] for name in COPIED}
    with as_owner(), connection.cursor() as cursor:
        # No trail of them and no question whether each refers to something: they are only there to be many.
        cursor.execute("SET LOCAL session_replication_role = replica")
        for name in names:
            told = rows | {"seed": rows[name], "group": group.pk, "first": first, "last": last}
            for label in COPIED[name]:
                cursor.execute(_copying(label, seeds, is_register=name in REGISTERS), told)
                assert cursor.rowcount > last - first, label
        cursor.execute("SET LOCAL session_replication_role = DEFAULT")


def analyse() -> None:
    """Tell the planner how many there are."""
    with as_owner(), connection.cursor() as cursor:
        for table in sorted(tables()):
            cursor.execute(f'ANALYZE "{table}"')


def tables() -> set[str]:
    """The tables that hold very many rows."""
    return {_model(label)._meta.db_table for labels in COPIED.values() for label in labels}


def _model(label: str) -> type[Model]:
    app, name = label.split(".")[:2]
    return apps.get_model(app, name)


def _copying(label: str, seeds: Mapping[type[Model], str], *, is_register: bool) -> str:
    model, by = _model(label), label.split(".")[2:]
    own = model._meta.pk
    kept = [
        each for each in model._meta.concrete_fields if _is_written(each) and (each is not own or _is_uuid(own))
    ]
    columns = ", ".join(f'"{each.column}"' for each in kept)
    values = ", ".join(_value(each, seeds, is_register) for each in kept)
    where = model._meta.get_field(by[0]).column if by else own.column  # type: ignore[union-attr]
    table = model._meta.db_table
    return (
        f'INSERT INTO "{table}" ({columns}) SELECT {values} FROM "{table}", '
        f'generate_series(%(first)s, %(last)s) AS n WHERE "{where}" = %(seed)s'
    )


def _is_written(field: Any) -> bool:
    """Whether it is given, and not worked out by PostgreSQL."""
    return not field.generated


def _is_uuid(field: Any) -> bool:
    return bool(field.get_internal_type() == "UUIDField")


def _value(field: Any, seeds: Mapping[type[Model], str], is_register: bool) -> str:
    """What stands in a copy's column: another number of its own, and the copy of whatever is copied too."""
    column = f'"{field.column}"'
    if changed := CHANGED.get(f"{field.model._meta.label}.{field.column}"):
        return changed.replace("%", "%%")
    if field.primary_key:
        return f"md5({column}::text || n)::uuid"
    if field.related_model is Group:
        return "%(group)s"
    if field.related_model in seeds:
        name = seeds[field.related_model]
        return _reference(column, field.model, name, by_turns=name in REGISTERS and not is_register)
    return column


def _reference(column: str, model: type[Model], name: str, *, by_turns: bool) -> str:
    """To the copy of the same number, or by turns to one of the first fifty."""
    number = f"(%(first)s + (n - %(first)s) / 2 %% {REFERRED_TO})" if by_turns else "n"
    # The world's own site is one of them, so that the page of one site is long as well.
    skips = f" AND n %% {REFERRED_TO} > 0" if model._meta.label == "surveys.Visit" else ""
    copy = f"md5({column}::text || {number})::uuid"
    return f"CASE WHEN {column} = %({name})s{skips} THEN {copy} ELSE {column} END"
