"""One of everything that has an address, and one person of every kind who might open it."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from uuid import uuid4

from django.contrib.auth.tokens import default_token_generator
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from PIL import Image

from alerts.contacts.links import make_token
from alerts.models import (
    AgencyContact,
    Forward,
    GroupOutcome,
    Incident,
    RepeatOffer,
    RepeatRequest,
    SiteContact,
    Trigger,
    Verdict,
)
from alerts.repeats.links import offer_token
from alerts.services.drills import drill_url, send_drill
from alerts.services.policies import add_absence, add_holiday
from alerts.services.quiet import begin_quiet
from portal.accounts.models import Group, Membership, Role, User
from portal.accounts.services import invitation_token, invite_person
from portal.outbox.heartbeats import PARTS, note_alive
from portal.reports.figures import gather_figures
from portal.reports.identifiers import PREFIX, identifier_of
from portal.reports.models import GroupPicture, YearlyReport
from surveys.lists.lines import read_lines
from surveys.models import Finding, ReturnNotice
from surveys.outings.returns import return_url
from surveys.services.drafts import start_visit
from surveys.services.imports import check_and_keep, keep_sheet
from surveys.services.kits import clean_kit, save_kit
from surveys.services.lists import create_list
from surveys.services.photos import add_photo
from surveys.services.review import return_visit
from tests.access.world_desk import add_desk
from tests.access.world_jobs import add_jobs
from tests.access.world_people import add_people
from tests.access.world_public import add_public
from tests.access.world_rota import add_rota
from tests.access.world_signing_in import add_ways_of_signing_in
from tests.access.world_tokens import add_keys
from tests.conftest import Cast
from tests.factories import UserFactory, account_at, days_ago, member_of, person_for, submit
from tests.surveys.outings.returning import begin_return

# "nobody" holds the signed links as well: so does an agency contact without an account.
ROLES = (
    "nobody",
    "volunteer",
    "coordinator",
    "involved",
    "neighbour",
    "contact",
    "former",
    "inactive",
    "operator",
    "other_volunteer",
    "other_contact",
    "reviewer",
)


@dataclass(repr=False)
class World:
    """`people` by role (None is nobody); `values` by the name of an address's argument."""

    people: dict[str, User | None] = field(default_factory=dict)
    values: dict[str, Any] = field(default_factory=dict)
    special: dict[str, dict[str, Any]] = field(default_factory=dict)
    # Keys of the sessions opened so far, by role.
    sessions: dict[str, str] = field(default_factory=dict)

    def arguments(self, name: str, wanted: list[str]) -> dict[str, Any]:
        """The arguments of one address, objects of the group of `people` throughout."""
        known = self.values | self.special.get(name, {})
        return {each: known[each] for each in wanted}


def build_world(cast: Cast) -> World:
    """A published group with people of every kind and one record of every kind."""
    Group.objects.filter(id=cast.group.id).update(is_public=True)
    world = World(people=_people(cast))
    world.values = {"slug": cast.group.slug, "site_id": cast.site.id, "method_key": "bmwp"}
    add_ways_of_signing_in(world)
    world.special["bank_icon"] = {"name": "192"}
    _add_visits(world, cast)
    _add_list(world, cast)
    _add_outings(world, cast)
    _add_incident(world, cast)
    _add_follow_up(world, cast)
    _add_people_records(world, cast)
    _add_reports(world, cast)
    add_desk(world, cast)
    add_jobs(world, cast)
    add_rota(world, cast)
    add_keys(world, cast)
    add_people(world, cast)
    add_public(world, cast)
    for part in PARTS:
        note_alive(part)
    return world


def _people(cast: Cast) -> dict[str, User | None]:
    former = member_of(cast.group, Role.COORDINATOR, name="Fern Example")
    Membership.objects.of_group(cast.group).filter(user=former).update(left_at=timezone.now())
    return {
        "nobody": None,
        "volunteer": cast.volunteer,
        "coordinator": cast.coordinator,
        "involved": cast.second_coordinator,
        "neighbour": cast.neighbour_coordinator,
        "contact": account_at("ona@agency.example", name="Ona Officer"),
        "former": former,
        "inactive": member_of(cast.group, Role.COORDINATOR, name="Ina Example", is_active=False),
        "operator": UserFactory(name="Opal Example", is_staff=True),
        "other_volunteer": cast.neighbour_volunteer,
        "other_contact": _other_contact(cast),
        "reviewer": member_of(cast.group, Role.REVIEWER, name="Greta Example", email="greta@example.org"),
    }


def _other_contact(cast: Cast) -> User:
    """Somebody at an agency who is told of incidents, but of another group's."""
    user = account_at("una@upland.example", name="Una Upland")
    contact = AgencyContact.objects.create(
        group=cast.neighbour, name=user.name, organisation="Upland Regulator", email=user.email
    )
    SiteContact.objects.create(site=cast.neighbour_site, contact=contact)
    Incident.objects.create(
        group=cast.neighbour, site=cast.neighbour_site, year=2026, number=1, contacts_told=1, state="open"
    )
    return user


def picture() -> SimpleUploadedFile:
    """A small real photo."""
    file = io.BytesIO()
    Image.new("RGB", (8, 8), "teal").save(file, "JPEG")
    return SimpleUploadedFile("p.jpg", file.getvalue(), content_type="image/jpeg")


def _add_visits(world: World, cast: Cast) -> None:
    other = cast.person("other_volunteer")
    volunteer = cast.person("volunteer")
    draft = start_visit(person=volunteer, site=cast.site)
    own_photo = add_photo(person=volunteer, group=cast.group, visit_number=draft.id, upload=picture())
    started = start_visit(person=other, site=cast.site)
    photo = add_photo(person=other, group=cast.group, visit_number=started.id, upload=picture())
    # The second coordinator held the net, and so must not check what came of it.
    shared = {"id": str(started.id), "partner": str(cast.second_coordinator.pk), "partner_name": ""}
    visit = submit(other, cast.site, visited_on=days_ago(3).isoformat(), **shared)
    finding = Finding.objects.create(visit=visit, rule="depth", field="spots.1.depth_cm", message="Deep.")
    own = submit(volunteer, cast.site, visited_on=days_ago(9).isoformat())
    return_visit(person=cast.person("second_coordinator"), visit=own, message="Look again.")
    sheet = io.BytesIO(f"site,date,taxon,count\nAB1,{days_ago(400)},Baetidae,4\nZZ9,,Baetidae,4\n".encode())
    loader = cast.person("second_coordinator")
    run = keep_sheet(person=loader, group=cast.group, file=sheet, file_name="old.csv")
    check_and_keep(person=loader, run=run)
    world.values |= {
        "draft_id": draft.id,
        "visit_id": visit.id,
        "number": visit.id,
        "finding_id": finding.id,
        "photo_id": photo.id,
        "run_id": run.id,
    }
    world.special["visit_mend"] = {"visit_id": own.id}
    world.special["api_visit_photo"] = {"number": own.id, "photo_number": uuid4()}
    world.special["photo_remove"] = {"photo_id": own_photo.id}


def _add_list(world: World, cast: Cast) -> None:
    own = create_list(
        person=cast.person("coordinator"), group=cast.group, name="Our list", lines=read_lines("Baetidae")
    )
    world.values["list_id"] = own.id


def _add_outings(world: World, cast: Cast) -> None:
    kit = save_kit(person=cast.person("coordinator"), group=cast.group, kit=None, name="Red bag")
    clean_kit(person=cast.person("volunteer"), kit=kit, method="hot_water")
    safe_return = begin_return(cast)
    notice = ReturnNotice.objects.of_group(cast.group).get(safe_return=safe_return, email=cast.volunteer.email)
    world.values |= {"kit_id": kit.id, "return_id": safe_return.id}
    for name in ("return_link", "return_link_end", "return_link_extend"):
        world.special[name] = {"token": return_url(notice).split("/")[-2]}


def _add_incident(world: World, cast: Cast) -> None:
    contact = AgencyContact.objects.create(
        group=cast.group,
        name="Ona Officer",
        organisation="Vale Water Regulator",
        email="ona@agency.example",
    )
    SiteContact.objects.create(site=cast.site, contact=contact)
    trigger = Trigger.objects.create(
        group=cast.group, site=cast.site, index="bmwp", level=60, valid_from=days_ago(30), reason="test"
    )
    visit_id = world.values["visit_id"]
    Verdict.objects.filter(group=cast.group, visit_id=visit_id).update(
        outcome="below", trigger=trigger, value=48.0, reasons=[]
    )
    incident = Incident.objects.create(
        group=cast.group, site=cast.site, year=2026, number=7, contacts_told=1, state="open"
    )
    incident.visits.add(visit_id)
    world.values |= {"contact_id": contact.id, "incident_id": incident.id}
    link = make_token(incident, contact)
    by_link = ("alert_page", "alert_acknowledge", "alert_outcome", "alert_photo")
    for name in (*by_link, "alert_investigate", "alert_forward", "alert_evidence"):
        world.special[name] = {"token": link}
    _add_course(world, cast, incident, contact)


def _add_course(world: World, cast: Cast, incident: Incident, contact: AgencyContact) -> None:
    outcome = GroupOutcome.objects.create(group=cast.group, label="Silage clamp", counts_as="source_stopped")
    forward = Forward.objects.create(
        incident=incident, contact=contact, to_name="Una Marsh", to_email="una@agency.example"
    )
    wanted = RepeatRequest.objects.create(group=cast.group, incident=incident, due_on=days_ago(-3))
    offer = RepeatOffer.objects.create(request=wanted, user=cast.volunteer)
    world.values |= {"outcome_id": outcome.id, "forward_id": forward.id}
    for name in ("repeat_link", "repeat_link_take", "repeat_link_give_back"):
        world.special[name] = {"token": offer_token(offer)}


def _add_follow_up(world: World, cast: Cast) -> None:
    contact = AgencyContact.objects.of_group(cast.group).get(pk=world.values["contact_id"])
    today, coordinator = timezone.localdate(), cast.person("coordinator")
    absence = add_absence(person=coordinator, contact=contact, first_day=today, last_day=today)
    holiday = add_holiday(person=coordinator, group=cast.group, day=today, name="Fair")
    end = timezone.now() + timedelta(days=1)
    quiet = begin_quiet(person=coordinator, site=cast.site, ends_at=end, reason="Works.")
    drill = send_drill(person=coordinator, contact=contact)
    for name in ("drill_page", "drill_acknowledge"):
        world.special[name] = {"token": drill_url(drill).split("/")[-2]}
    world.values |= {"absence_id": absence.id, "holiday_id": holiday.id, "quiet_id": quiet.id}


def _add_people_records(world: World, cast: Cast) -> None:
    invitation = invite_person(
        person=cast.person("coordinator"), group=cast.group, email="new@example.org", role=Role.VOLUNTEER
    )
    other = Membership.objects.of_group(cast.group).get(user=cast.other_volunteer)
    world.values |= {
        "invitation_id": invitation.id,
        "membership_id": other.id,
        "token": invitation_token(invitation),
        "name": "one",
        "key": default_token_generator.make_token(cast.volunteer),
        "uidb36": "abc",
    }


def _add_reports(world: World, cast: Cast) -> None:
    year = days_ago(3).year
    common = {
        "group": cast.group,
        "year": year,
        "made_by": cast.second_coordinator,
        "data": gather_figures(cast.group, year),
    }
    paper = ContentFile(b"%PDF-1.7 draft", name="draft.pdf")
    draft = YearlyReport.objects.create(**common, state="ready", file=paper)
    published = YearlyReport.objects.create(
        **common,
        edition=2,
        state="published",
        published_at=timezone.now() - timedelta(days=1),
        published_by=cast.second_coordinator,
        identifier=identifier_of(cast.group.slug, year, 2),
        file=ContentFile(b"%PDF-1.7 published", name="published.pdf"),
    )
    world.values["report_id"] = draft.id
    for name in ("public_report", "public_report_file", "public_report_figures"):
        world.special[name] = {"report_id": published.id}
    world.values["identifier"] = published.identifier.removeprefix(PREFIX)
    GroupPicture.objects.create(group=cast.group, file=picture(), alt="A riffle in spring.", people="nobody")


def unknown(arguments: dict[str, Any]) -> dict[str, Any]:
    """The same address with ids that do not exist."""
    return {
        key: uuid4() if key.endswith("_id") or key == "number" else value for key, value in arguments.items()
    }


__all__ = ["ROLES", "World", "build_world", "person_for", "picture", "unknown"]
