"""Every service of accounts, alerts and reports: a change and its audit row stand together, or neither does."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from copy import deepcopy
from typing import Any

import pytest
from django.db import models, transaction

from alerts.models import AgencyContact, Incident, IncidentEvent, Outcome, SiteContact, Trigger, Verdict
from alerts.services import incidents as acts
from alerts.services.contacts import name_site_contacts, save_contact
from alerts.services.triggers import set_trigger
from alerts.services.verdicts import test_visit_anyway as run_anyway
from portal.accounts import services
from portal.accounts.models import Group, Invitation, Membership, Role, User
from portal.audit.models import AuditEntry
from portal.outbox.models import Message
from portal.reports.models import YearlyReport
from portal.reports.services import request_report
from tests.alerts.conftest import Watch, make_watch, the_incident
from tests.conftest import make_cast
from tests.factories import days_ago
from tests.lasting import built_once

pytestmark = pytest.mark.django_db
WATCHED: tuple[type[models.Model], ...] = (
    *(User, Group, Membership, Invitation, Message, YearlyReport),
    *(Trigger, Verdict, AgencyContact, SiteContact, Incident, IncidentEvent),
)


def rows(model: type[models.Model]) -> list[dict[str, Any]]:
    manager: Any = model._default_manager
    found = manager.across_groups("test") if hasattr(manager, "across_groups") else manager.all()
    return list(found.order_by("pk").values())


def everything() -> dict[str, list[dict[str, Any]]]:
    return {model.__name__: rows(model) for model in WATCHED}


def membership(watch: Watch, who: str) -> Membership:
    return Membership.objects.of_group(watch.cast.group).get(user=getattr(watch.cast, who))


def invitation(watch: Watch) -> Invitation:
    return Invitation.objects.of_group(watch.cast.group).get(email="asked@example.org")


def by(watch: Watch) -> dict[str, Any]:
    return {"person": watch.cast.person("coordinator")}


def close(watch: Watch) -> Any:
    return acts.close_incident(**by(watch), incident=the_incident(), outcome=Outcome.NATURAL, note="Drought.")


def set_lower(watch: Watch) -> Any:
    fields: dict[str, Any] = {"index": "bmwp", "level": 25.0, "valid_from": days_ago(0), "reason": "Agreed."}
    return set_trigger(**by(watch), site=watch.site, **fields)


def add_contact(watch: Watch) -> Any:
    fields = {"name": "Una", "organisation": "Office", "email": "una@rivers.example"}
    return save_contact(**by(watch), group=watch.cast.group, fields=fields)


def change_contact(watch: Watch) -> Any:
    return save_contact(
        **by(watch), group=watch.cast.group, contact=watch.first, fields={"phone": "01632 960123"}
    )


def invite(watch: Watch) -> Any:
    return services.invite_person(**by(watch), group=watch.cast.group, email="n@example.org", role="volunteer")


def join(watch: Watch) -> Any:
    return services.join_with_new_account(
        invitation=invitation(watch), name="Newt", password="three unrelated words"
    )


def test_anyway(watch: Watch) -> Any:
    spate = watch.site.visits.get(water_level="spate")
    return run_anyway(**by(watch), visit=spate, reason="The gauge was normal.")


test_anyway.__test__ = False  # type: ignore[attr-defined]
Change = Callable[[Watch], Any]
# The verb of the change's own audit row; a change may bring others with it.
CHANGES: Mapping[str, Change] = {
    "invitation.sent": invite,
    "invitation.revoked": lambda watch: services.revoke_invitation(**by(watch), invitation=invitation(watch)),
    "membership.joined": join,
    "membership.role": lambda watch: services.change_role(
        **by(watch), membership=membership(watch, "volunteer"), role=Role.COORDINATOR
    ),
    "membership.ended": lambda watch: services.end_membership(
        **by(watch), membership=membership(watch, "volunteer")
    ),
    "membership.naming": lambda watch: services.choose_naming(
        **by(watch), membership=membership(watch, "coordinator"), show_name=True
    ),
    "group.edited": lambda watch: services.edit_group(
        **by(watch), group=watch.cast.group, fields={"name": "Alder Beck Wardens"}
    ),
    "group.created": lambda watch: services.create_group(
        name="New", slug="new", operator=watch.cast.stranger, coordinator_email="c@example.org"
    ),
    "contact.created": add_contact,
    "contact.changed": change_contact,
    "site.contacts_named": lambda watch: name_site_contacts(
        **by(watch), site=watch.site, contacts=[watch.second]
    ),
    "trigger.set": set_lower,
    "verdict.tested_anyway": test_anyway,
    "incident.acknowledged": lambda watch: acts.acknowledge_incident(
        incident=the_incident(), contact=watch.first
    ),
    "incident.reference": lambda watch: acts.add_note(
        **by(watch), incident=the_incident(), note="", reference="R-1"
    ),
    "incident.closed": close,
    "incident.links_renewed": lambda watch: acts.renew_links(**by(watch), incident=the_incident()),
    "report.requested": lambda watch: request_report(
        **by(watch), group=watch.cast.group, year=days_ago(1).year
    ),
}


def build_scene() -> Watch:
    """A live incident, a visit in a spate that was not tested, and somebody who was asked to join."""
    watch = make_watch(make_cast())
    watch.submit_low(by="other_volunteer", water_level="spate", visited_on=days_ago(4).isoformat())
    watch.submit_low()
    services.invite_person(
        person=watch.cast.person("coordinator"),
        group=watch.cast.group,
        email="asked@example.org",
        role="volunteer",
    )
    return watch


once = built_once(build_scene)


@pytest.fixture
def scene(once: Watch, db: None) -> Watch:
    return deepcopy(once)


def entries() -> list[AuditEntry]:
    return list(AuditEntry.objects.across_groups("test").order_by("at"))


@pytest.mark.parametrize("verb", sorted(CHANGES))
def test_it_leaves_an_audit_row_of_what_was_done_by_whom(scene: Watch, verb: str) -> None:
    before = {each.pk for each in entries()}
    CHANGES[verb](scene)
    (own,) = [each for each in entries() if each.pk not in before and each.verb == verb]
    assert own.actor_name, "a change that nobody made"
    assert own.group is not None or verb == "group.created"
    assert own.object_type.partition(".")[2], "what was changed can be found again"


@pytest.mark.parametrize("verb", sorted(CHANGES))
def test_it_changes_nothing_when_the_audit_row_cannot_be_written(
    scene: Watch, verb: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def disk_full(*_args: Any, **_words: Any) -> None:
        raise OSError("no space left")

    before = everything()
    with monkeypatch.context() as patch:
        patch.setattr(AuditEntry, "save", disk_full)
        with pytest.raises(OSError, match="no space left"):
            CHANGES[verb](scene)
    assert everything() == before


@pytest.mark.parametrize("verb", sorted(CHANGES))
def test_the_comparison_would_see_the_change(scene: Watch, verb: str) -> None:
    """Negative control: a change that was let through is seen in the rows compared."""
    before = everything()
    with transaction.atomic():
        CHANGES[verb](scene)
        assert everything() != before
